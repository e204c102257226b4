//! When are words said that take the place of others?

/// The times of words in the place of others, each from its start to its end in ms:
/// the same where there are as many, else what the others took, [`shared`].
///
/// ```
/// use sayback_core::moments::in_place_of;
/// let heard = [(0, 300), (900, 1_200)];
/// assert_eq!(in_place_of(&heard, &["Tarrow", "Landing"]), heard);
/// assert_eq!(in_place_of(&heard, &["Marzipan"]), [(0, 1_200)]);
/// ```
#[must_use]
pub fn in_place_of(own: &[(i64, i64)], texts: &[impl AsRef<str>]) -> Vec<(i64, i64)> {
    if own.len() == texts.len() {
        return own.to_vec();
    }
    let from = own.first().map_or(0, |first| first.0);
    let to = own.last().map_or(from, |last| last.1);
    shared(texts, from, to)
}

/// Words one after the other between two instants, in ms, each as long as its letters
/// ask and at least a millisecond, also where there is no room.
pub(super) fn shared(texts: &[impl AsRef<str>], from: i64, to: i64) -> Vec<(i64, i64)> {
    let letters = texts
        .iter()
        .map(|text| text.as_ref().chars().count().max(1));
    let letters: Vec<i64> = letters.map(|n| i64::try_from(n).unwrap_or(1)).collect();
    let all: i64 = letters.iter().sum();
    let count = i64::try_from(texts.len()).unwrap_or(i64::MAX);
    let spare = (to - from - count).max(0);
    let mut before = 0;
    let mut at = from;
    (1_i64..)
        .zip(letters)
        .map(|(n, letters)| {
            before += letters;
            let share = i128::from(spare) * i128::from(before) / i128::from(all.max(1));
            let start = at;
            at = from + n + i64::try_from(share).unwrap_or(spare);
            (start, at)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_share_by_their_letters_and_none_is_without_length() {
        let times = in_place_of(&[(100, 200), (250, 500)], &["a", "bbb", "cccc"]);
        assert_eq!(times, [(100, 150), (150, 300), (300, 500)]);
        assert_eq!(in_place_of(&[(7, 8)], &["a", "b"]), [(7, 8), (8, 9)]);
        assert_eq!(in_place_of(&[], &["a"]), [(0, 1)]);
    }
}
