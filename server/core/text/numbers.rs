//! English numbers: in words, and in digits.
//!
//! One recogniser writes `21`, the next `twenty-one`; a year is said in pairs. Other
//! languages' numbers are only what they are written as.

const UNITS: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] = [
    "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
];
/// Ordinals that are more than their cardinal and `th`.
const ORDINALS: [(&str, &str); 9] = [
    ("one", "first"),
    ("two", "second"),
    ("three", "third"),
    ("five", "fifth"),
    ("eight", "eighth"),
    ("nine", "ninth"),
    ("twelve", "twelfth"),
    ("twenty", "twentieth"),
    ("thirty", "thirtieth"),
];
/// The largest number read or spelled.
const LARGEST: u32 = 999_999;

/// The number that words begin with: of how many words it is, and its digits, with `st`,
/// `nd`, `rd` or `th` if it is an ordinal. Words are in normal form.
///
/// ```text
/// twenty one lamps → (2, "21")     nineteen ninety eight → (3, "1998")
/// the twenty first → none          twenty first → (2, "21st")
/// ```
pub(super) fn digits(words: &[&str]) -> Option<(usize, String)> {
    let (first, mut count, mut ordinal) = below_thousand(words)?;
    let mut value = first;
    if !ordinal {
        match words.get(count) {
            Some(&"thousand") => {
                value *= 1_000;
                count += 1;
                let and = usize::from(words.get(count) == Some(&"and"));
                if let Some((rest, more, last)) = below_thousand(&words[count + and..]) {
                    // "Two thousand and" may go on with something else.
                    if and == 0 || rest < 100 {
                        (value, count, ordinal) = (value + rest, count + and + more, last);
                    }
                }
            }
            Some(_) if (10..100).contains(&first) => {
                // A year, or a time of day: two pairs.
                if let Some((pair, more, last)) = pair(&words[count..]) {
                    (value, count, ordinal) = (first * 100 + pair, count + more, last);
                }
            }
            _ => {}
        }
    }
    (value <= LARGEST).then(|| (count, written(value, ordinal)))
}

/// The second pair of a year: `ninety eight`, `oh five`.
fn pair(words: &[&str]) -> Option<(u32, usize, bool)> {
    if matches!(words, ["oh" | "o", ..]) {
        let (unit, _, ordinal) = below_hundred(words.get(1..2)?)?;
        return (1..10).contains(&unit).then_some((unit, 2, ordinal));
    }
    let (value, count, ordinal) = below_hundred(words)?;
    (value >= 10).then_some((value, count, ordinal))
}

fn below_thousand(words: &[&str]) -> Option<(u32, usize, bool)> {
    let (value, count, ordinal) = below_hundred(words)?;
    if ordinal || words.get(count) != Some(&"hundred") || value == 0 {
        return Some((value, count, ordinal));
    }
    let hundreds = value * 100;
    let after = count + 1;
    let and = usize::from(words.get(after) == Some(&"and"));
    match words.get(after + and..).and_then(below_hundred) {
        Some((rest, more, ordinal)) => Some((hundreds + rest, after + and + more, ordinal)),
        None => Some((hundreds, after, false)),
    }
}

fn below_hundred(words: &[&str]) -> Option<(u32, usize, bool)> {
    let first = words.first()?;
    if let Some(unit) = unit(first) {
        return Some((unit, 1, false));
    }
    if let Some((_, value)) = ordinal(first) {
        return Some((value, 1, true));
    }
    let tens = TENS
        .iter()
        .position(|ten| !ten.is_empty() && ten == first)?;
    let tens = 10 * u32::try_from(tens).ok()?;
    match words.get(1) {
        Some(next) => match (unit(next), ordinal(next)) {
            (Some(unit @ 1..10), _) => Some((tens + unit, 2, false)),
            (_, Some((_, unit @ 1..10))) => Some((tens + unit, 2, true)),
            _ => Some((tens, 1, false)),
        },
        None => Some((tens, 1, false)),
    }
}

fn unit(word: &str) -> Option<u32> {
    let place = UNITS.iter().position(|unit| *unit == word)?;
    u32::try_from(place).ok()
}

/// The cardinal and value of an ordinal.
fn ordinal(word: &str) -> Option<(String, u32)> {
    let own = ORDINALS.iter().find(|(_, ordinal)| *ordinal == word);
    let cardinal = match own {
        Some((cardinal, _)) => (*cardinal).to_owned(),
        None => match word.strip_suffix("ieth") {
            Some(ten) => format!("{ten}y"),
            None => word.strip_suffix("th")?.to_owned(),
        },
    };
    let value = unit(&cardinal).or_else(|| {
        let tens = TENS.iter().position(|ten| *ten == cardinal)?;
        Some(10 * u32::try_from(tens).ok()?)
    })?;
    (value > 0).then_some((cardinal, value))
}

fn written(value: u32, ordinal: bool) -> String {
    if !ordinal {
        return value.to_string();
    }
    let ending = match (value % 100, value % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{value}{ending}")
}

/// The ways in which a number in digits is said; none for a word that is no number.
pub(super) fn spelled(word: &str) -> Vec<Vec<String>> {
    let Some((value, ordinal)) = number(word) else {
        return Vec::new();
    };
    let mut ways = vec![said(value, false), said(value, true)];
    ways.extend(in_pairs(value));
    ways.dedup();
    if ordinal {
        ways.iter_mut().for_each(|way| make_ordinal(way));
    }
    ways
}

/// The way in which it is said mostly: years in pairs.
pub(super) fn usually_spelled(word: &str) -> Option<Vec<String>> {
    let (value, ordinal) = number(word)?;
    let year = match value {
        1_100..2_000 => value % 100 == 0 || value % 100 >= 10,
        _ => (2_010..2_100).contains(&value),
    };
    let pairs = in_pairs(value).filter(|_| year);
    let mut words = pairs.unwrap_or_else(|| said(value, false));
    if ordinal {
        make_ordinal(&mut words);
    }
    Some(words)
}

/// The value of a number in digits, and whether it is an ordinal.
fn number(word: &str) -> Option<(u32, bool)> {
    let end = word
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(word.len());
    let (number, ending) = word.split_at(end);
    let ordinal = matches!(ending, "st" | "nd" | "rd" | "th");
    let zeros = number.starts_with('0') && number.len() > 1;
    let value = number.parse().ok().filter(|value| *value <= LARGEST)?;
    (!zeros && (ordinal || ending.is_empty())).then_some((value, ordinal))
}

/// A year, or a time of day: two pairs.
fn in_pairs(value: u32) -> Option<Vec<String>> {
    let (first, second) = (value / 100, value % 100);
    if !(10..100).contains(&first) {
        return None;
    }
    let mut pairs = said(first, false);
    match second {
        0 => pairs.push("hundred".into()),
        1..10 => {
            pairs.push("oh".into());
            pairs.extend(said(second, false));
        }
        _ => pairs.extend(said(second, false)),
    }
    Some(pairs)
}

fn make_ordinal(words: &mut [String]) {
    if let Some(last) = words.last_mut() {
        *last = as_ordinal(last);
    }
}

fn as_ordinal(cardinal: &str) -> String {
    let own = ORDINALS.iter().find(|(word, _)| *word == cardinal);
    match (own, cardinal.strip_suffix('y')) {
        (Some((_, ordinal)), _) => (*ordinal).to_owned(),
        (None, Some(ten)) => format!("{ten}ieth"),
        (None, None) => format!("{cardinal}th"),
    }
}

fn said(value: u32, and: bool) -> Vec<String> {
    let mut words = Vec::new();
    let (thousands, rest) = (value / 1_000, value % 1_000);
    if thousands > 0 {
        words.extend(said(thousands, and));
        words.push("thousand".to_owned());
        if rest == 0 {
            return words;
        }
    }
    let (hundreds, below) = (rest / 100, rest % 100);
    if hundreds > 0 {
        words.push(UNITS[hundreds as usize].to_owned());
        words.push("hundred".to_owned());
        if below == 0 {
            return words;
        }
    }
    if and && !words.is_empty() {
        words.push("and".to_owned());
    }
    match below {
        0..20 => words.push(UNITS[below as usize].to_owned()),
        _ => {
            words.push(TENS[(below / 10) as usize].to_owned());
            if below % 10 > 0 {
                words.push(UNITS[(below % 10) as usize].to_owned());
            }
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str) -> Option<(usize, String)> {
        digits(&text.split(' ').collect::<Vec<_>>())
    }

    #[test]
    fn words_are_read_as_digits() {
        for (text, count, number) in [
            ("twenty one lamps", 2, "21"),
            ("nineteen ninety eight", 3, "1998"),
            ("nineteen oh five", 3, "1905"),
            ("two thousand and twenty six", 5, "2026"),
            ("two thousand and then", 2, "2000"),
            ("twenty twenty six", 3, "2026"),
            ("twenty first", 2, "21st"),
            ("twelfth", 1, "12th"),
            ("thirtieth of june", 1, "30th"),
            ("one hundred and six", 4, "106"),
            ("three hundred steps", 2, "300"),
            ("ten thirty", 2, "1030"),
            ("forty years", 1, "40"),
            ("zero", 1, "0"),
            // Two numbers, not one.
            ("one two", 1, "1"),
            ("twenty eleven o'clock", 2, "2011"),
        ] {
            assert_eq!(read(text), Some((count, number.to_owned())), "{text}");
        }
        for none in ["the", "and one", "hundred", "", "th", "lamps"] {
            assert_eq!(read(none), None, "{none}");
        }
    }

    #[test]
    fn digits_are_spelled_as_they_are_said() {
        let spelled = |word: &str| {
            let ways = spelled(word).into_iter().map(|way| way.join(" "));
            ways.collect::<Vec<_>>()
        };
        assert_eq!(spelled("21"), ["twenty one"]);
        assert_eq!(
            spelled("1998"),
            [
                "one thousand nine hundred ninety eight",
                "one thousand nine hundred and ninety eight",
                "nineteen ninety eight"
            ]
        );
        assert_eq!(spelled("2005")[1], "two thousand and five");
        assert_eq!(spelled("22nd"), ["twenty second"]);
        assert_eq!(spelled("30th"), ["thirtieth"]);
        for none in ["lamp", "", "007", "10m", "12345678901"] {
            assert!(spelled(none).is_empty(), "{none}");
        }
    }

    #[test]
    fn years_are_said_in_pairs() {
        for (digits, words) in [
            ("0", "zero"),
            ("11", "eleven"),
            ("40", "forty"),
            ("105", "one hundred five"),
            ("1987", "nineteen eighty seven"),
            ("2026", "twenty twenty six"),
            ("2003", "two thousand three"),
            ("1105", "one thousand one hundred five"),
            ("1900", "nineteen hundred"),
            ("1st", "first"),
            ("20th", "twentieth"),
            ("22nd", "twenty second"),
            ("12th", "twelfth"),
        ] {
            assert_eq!(usually_spelled(digits).expect(digits).join(" "), words);
        }
        for other in ["4x4", "th", "", "3pm", "愿"] {
            assert_eq!(usually_spelled(other), None, "{other}");
        }
    }

    proptest! {
        #[test]
        fn what_is_spelled_is_read_again(value in 0..=LARGEST, ordinal in any::<bool>()) {
            prop_assume!(!ordinal || value % 100 != 0 && value > 0);
            let word = written(value, ordinal);
            for way in spelled(&word) {
                let words: Vec<&str> = way.iter().map(String::as_str).collect();
                prop_assert_eq!(digits(&words), Some((words.len(), word.clone())), "{:?}", way);
            }
        }

        #[test]
        fn anything_is_read(words in prop::collection::vec(
            prop::sample::select(vec!["one", "ten", "twenty", "hundred", "thousand", "and",
                "first", "oh", "ninth", "lamp"]), 0..9)) {
            if let Some((count, _)) = digits(&words) {
                prop_assert!(count > 0 && count <= words.len());
            }
        }
    }
}
