//! Is one word the other, misspelt? By the letters they have at a glance, then letter by
//! letter.

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

/// So many letters may be wrong in a word of so many that sounds like another,
pub(super) fn most_edits(longer: u32) -> u32 {
    match longer {
        0..=3 => 0,
        4..=5 => 1,
        6..=9 => 2,
        _ => 3,
    }
}

/// and so many in one that does not.
pub(super) fn most_slips(longer: u32) -> u32 {
    match longer {
        0..=3 => 0,
        4..=7 => 1,
        _ => 2,
    }
}

/// By how many letters changed, left out, put in or exchanged with the next one word is
/// another, if no more than so many, and what it is worth then.
pub(super) fn spelled_alike(a: &str, b: &str, most: u32) -> Option<(u32, f32)> {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let longer = a.len().max(b.len());
    let edits = u32::try_from(edits(&a, &b)).unwrap_or(u32::MAX);
    // People get the first letter right, mostly (common knowledge, no source).
    let first = if a.first() == b.first() { 0.0 } else { 0.1 };
    (edits <= most).then(|| (edits, 1.0 - 1.1 * edits as f32 / longer as f32 - first))
}

/// Edits of letters, exchanging two neighbours being one: optimal string alignment
/// (Damerau, 1964).
fn edits(a: &[char], b: &[char]) -> usize {
    let width = b.len() + 1;
    let [mut before, mut above, mut row] = [vec![0; width], (0..width).collect(), vec![0; width]];
    for (n, x) in a.iter().enumerate() {
        row[0] = n + 1;
        for (m, y) in b.iter().enumerate() {
            let changed = above[m] + usize::from(x != y);
            row[m + 1] = changed.min(above[m + 1] + 1).min(row[m] + 1);
            if n > 0 && m > 0 && *x == b[m - 1] && a[n - 1] == *y {
                row[m + 1] = row[m + 1].min(before[m - 1] + 1);
            }
        }
        std::mem::swap(&mut before, &mut above);
        std::mem::swap(&mut above, &mut row);
    }
    above[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn edits_are_counted_as_by_hand() {
        let edits = |a: &str, b: &str| {
            edits(
                &a.chars().collect::<Vec<_>>(),
                &b.chars().collect::<Vec<_>>(),
            )
        };
        // The classic pair, and one exchange of neighbours.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("kettel", "kettle"), 1);
        assert_eq!(edits("", "ab"), 2);
    }
}
