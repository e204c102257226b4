//! The queue and the steps, on real files, with a recogniser that needs no
//! model.

pub mod desk;
mod elsewhere;
mod files;
mod fixes;
mod room;
mod running;
mod uploads;
