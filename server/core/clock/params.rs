//! Every number the clock is set by.

/// Settings of the search for one clock. The defaults are what the figures in the
/// documentation are measured with.
#[derive(Clone, Debug, PartialEq)]
pub struct ClockParams {
    /// The fastest one recorder's clock runs against another's in ordinary work,
    /// ppm. Crystals are sold as ±20 to ±100 ppm with ageing and temperature, so
    /// two differ by 200 at most.
    pub max_ppm: f64,
    /// The fastest wrong rate that is looked for when nothing fits, as a share of
    /// the right one, each way; besides 44.1 taken for 48 kHz and the reverse.
    pub max_wrong_rate: f64,
    /// Length of one look along a line, ms: two or three sentences.
    pub look_ms: f64,
}

impl Default for ClockParams {
    fn default() -> Self {
        Self {
            max_ppm: 250.0,
            max_wrong_rate: 0.024,
            look_ms: 10_000.0,
        }
    }
}
