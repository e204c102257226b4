//! Which letters does a word have? A quick look before two are compared closely.

/// Which letters a word has, and how many.
#[derive(Clone, Copy, Debug)]
pub(super) struct Letters {
    /// A bit for each letter of English; those of other scripts share the rest.
    which: u32,
    pub count: u32,
}

impl Letters {
    pub fn of(text: &str) -> Self {
        let bit = |letter: char| match letter {
            'a'..='z' => letter as u32 - 'a' as u32,
            _ => 26 + letter as u32 % 6,
        };
        Self {
            which: text.chars().fold(0, |which, c| which | 1 << bit(c)),
            count: u32::try_from(text.chars().count()).unwrap_or(u32::MAX),
        }
    }

    /// No fewer letters than this must be changed to make one word the other.
    pub fn least_edits(self, other: Self) -> u32 {
        let lacking = (self.which & !other.which).count_ones();
        let beyond = (other.which & !self.which).count_ones();
        self.count.abs_diff(other.count).max(lacking.max(beyond))
    }

    /// Whether they have half of the different letters of the one that has fewer.
    pub fn share_half(self, other: Self) -> bool {
        let fewer = self.which.count_ones().min(other.which.count_ones());
        2 * (self.which & other.which).count_ones() >= fewer
    }
}

#[cfg(test)]
mod tests {
    use super::Letters;

    #[test]
    fn what_must_be_changed_at_least() {
        let least = |a: &str, b: &str| Letters::of(a).least_edits(Letters::of(b));
        // k and e have no place in the other; one more must be put in, as it happens.
        assert_eq!(least("kitten", "sitting"), 2);
        assert_eq!(least("kettel", "kettle"), 0);
        assert_eq!(least("", "ab"), 2);
        assert!(Letters::of("kettle").share_half(Letters::of("kitten")));
        assert!(!Letters::of("kettle").share_half(Letters::of("bound")));
    }
}
