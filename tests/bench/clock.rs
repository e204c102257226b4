//! `cargo bench --bench clock`: how exactly recordings come to one clock on days
//! nothing was tuned on, and what it costs.
//!
//! `-- --seeds N --from SEED` chooses the days of the accuracy table, `--hours
//! 1,2` those of the cost curve, `--no-cost` leaves the curve out.
//!
//! An error is of an instant mapped from one recording into another through
//! their placements. *Beside the acoustic delay*: the distance from the range
//! that the true delays of the voices both heard span; *beside the nearest voice*:
//! from the nearest of these delays; *for the voice that speaks there*: from that
//! voice's delay, which no one offset can be for all. *Plain*: the distance from
//! the true clocks alone, sound's way included. Yardsticks: one frame of picture at
//! 25 frames a second is 40 ms; ITU-R BT.1359-1 puts the detectability of sound
//! against picture at 45 ms early and 125 ms late.

#[path = "clock/accuracy.rs"]
mod accuracy;
#[path = "clock/cost.rs"]
mod cost;
#[path = "clock/judge.rs"]
mod judge;
#[path = "clock/solving.rs"]
mod solving;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let Some(at) = arguments.iter().position(|argument| argument == "--point") {
        return cost::measure(&arguments[at + 1..]);
    }
    let value = |name: &str| {
        let at = arguments.iter().position(|argument| argument == name)?;
        arguments.get(at + 1).cloned()
    };
    let number = |name: &str| value(name).map(|text| text.parse::<u64>().expect("a number"));
    let seeds = number("--seeds").unwrap_or(50);
    let missed = if seeds > 0 {
        accuracy::run(number("--from").unwrap_or(101), seeds as usize)
    } else {
        Vec::new()
    };
    if !arguments.iter().any(|argument| argument == "--no-cost") {
        let hours = value("--hours").map(|text| {
            text.split(',')
                .map(|hours| hours.parse().expect("hours"))
                .collect()
        });
        cost::run(&hours.unwrap_or(cost::HOURS.to_vec()));
    }
    assert!(missed.is_empty(), "goals missed: {}", missed.join(", "));
}
