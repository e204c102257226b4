//! When does the synthesiser say each word of a line?
//!
//! flite tells when each sound of a line ends (`-psdur`), and which sounds a word
//! has by itself (`-ps`). In a line some words sound otherwise ('the', 'a'), so the
//! two are laid side by side by edit distance.

use anyhow::{Context, Result, ensure};

/// flite's name for silence.
const SILENCE: &str = "pau";
const VOWELS: [&str; 18] = [
    "aa", "ae", "ah", "ao", "aw", "ax", "axr", "ay", "eh", "er", "ey", "ih", "ix", "iy", "ow",
    "oy", "uh", "uw",
];

/// A sound of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Phone {
    /// flite's name for it.
    pub name: String,
    /// From, in seconds.
    pub start_s: f64,
    /// To, in seconds.
    pub end_s: f64,
}

/// The sounds in flite's report on a line, `name:end` each, without silence.
///
/// # Errors
/// When it is no such report.
pub fn phones(report: &str) -> Result<Vec<Phone>> {
    let mut phones = Vec::new();
    let mut start_s = 0.0;
    for entry in report.split_whitespace() {
        let (name, end) = entry.rsplit_once(':').context("no end of a sound")?;
        let end_s: f64 = end.parse().with_context(|| format!("no time: {end}"))?;
        if name != SILENCE {
            phones.push(Phone {
                name: name.into(),
                start_s,
                end_s,
            });
        }
        start_s = end_s;
    }
    Ok(phones)
}

/// The names of the sounds in flite's report on a lone word.
#[must_use]
pub fn names(report: &str) -> Vec<String> {
    let names = report.split_whitespace();
    names
        .filter(|name| *name != SILENCE)
        .map(str::to_owned)
        .collect()
}

/// Start and end of each word in seconds, given the sounds each has by itself and
/// the sounds of the line.
///
/// # Errors
/// When the line has no sound for a word.
pub fn words(words: &[Vec<String>], line: &[Phone]) -> Result<Vec<(f64, f64)>> {
    let own: Vec<(usize, &str)> = words
        .iter()
        .enumerate()
        .flat_map(|(word, names)| names.iter().map(move |name| (word, name.as_str())))
        .collect();
    let (rows, columns) = (own.len(), line.len());
    let mut cost = vec![vec![0.0_f64; columns + 1]; rows + 1];
    for (i, row) in cost.iter_mut().enumerate() {
        row[0] = i as f64;
    }
    cost[0] = (0..=columns).map(|j| j as f64).collect();
    let exchange = |i: usize, j: usize| unlike(own[i].1, &line[j].name);
    for i in 1..=rows {
        for j in 1..=columns {
            cost[i][j] = (cost[i - 1][j - 1] + exchange(i - 1, j - 1))
                .min(cost[i - 1][j] + 1.0)
                .min(cost[i][j - 1] + 1.0);
        }
    }
    let mut times: Vec<Option<(f64, f64)>> = vec![None; words.len()];
    let (mut i, mut j) = (rows, columns);
    while i > 0 && j > 0 {
        if cost[i][j] == cost[i - 1][j - 1] + exchange(i - 1, j - 1) {
            (i, j) = (i - 1, j - 1);
            let time = &mut times[own[i].0];
            let end = time.map_or(line[j].end_s, |(_, end)| end);
            *time = Some((line[j].start_s, end));
        } else if cost[i][j] == cost[i - 1][j] + 1.0 {
            i -= 1;
        } else {
            j -= 1;
        }
    }
    let times: Vec<(f64, f64)> = times.into_iter().flatten().collect();
    ensure!(times.len() == words.len(), "a word without a sound");
    Ok(times)
}

/// 0 for the same sound, less for two vowels or two consonants than for one of each.
fn unlike(a: &str, b: &str) -> f64 {
    let vowel = |name: &str| VOWELS.contains(&name);
    match (a == b, vowel(a) == vowel(b)) {
        (true, _) => 0.0,
        (false, true) => 0.7,
        (false, false) => 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_parted_into_its_words() {
        // flite 2.2, voice slt: 'the oar' in a line, and its words by themselves.
        let line = phones("pau:0.2 dh:0.25 ax:0.3 ao:0.5 r:0.6 pau:0.8").unwrap();
        let alone = [names("pau dh iy pau"), names("pau ao r pau")];
        assert_eq!(words(&alone, &line).unwrap(), [(0.2, 0.3), (0.3, 0.6)]);
        assert!(words(&[names("b"), names("ao r")], &line[2..]).is_err());
        assert!(phones("dh").is_err());
    }
}
