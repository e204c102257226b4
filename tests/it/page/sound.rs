//! What is heard on the page, recorded where it goes to the loudspeakers and held
//! against the files.

mod level;
mod lists;
mod mapping;
mod speed;
mod stage;
mod switching;
mod trouble;
