//! What travels: the JSON of the API, told once for the server, the command
//! line and the API description. Times are whole milliseconds.

mod clock;
mod coverage;
mod cut;
mod event;
mod fix;
mod hand_over;
mod levels;
mod moment;
mod outline;
mod peaks;
mod people;
mod script;
mod search;
mod status;

pub use clock::*;
pub use coverage::*;
pub use cut::*;
pub use event::*;
pub use fix::*;
pub use hand_over::*;
pub use levels::*;
pub use moment::*;
pub use outline::*;
pub use peaks::*;
pub use people::*;
pub use script::*;
pub use search::*;
pub use status::*;
