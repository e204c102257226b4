//! How else might somebody write a word that they heard, or remember it?

use xtask::scene::random::Random;

/// One letter too many, too few, another, or two in the wrong order.
pub fn misspelled(word: &str, random: &mut Random) -> Option<String> {
    let mut letters: Vec<char> = word.chars().collect();
    let at = 1 + random.below(letters.len() - 2);
    let other = char::from(b'a' + random.below(26) as u8);
    match random.below(4) {
        0 => letters.insert(at, other),
        1 => drop(letters.remove(at)),
        2 => letters[at] = other,
        _ => letters.swap(at, at + 1),
    }
    let written: String = letters.into_iter().collect();
    (written != word).then_some(written)
}

/// Spellings of one sound.
pub fn sounding(word: &str, random: &mut Random) -> Option<String> {
    const ALIKE: [(&str, &str); 16] = [
        ("ph", "f"),
        ("ck", "k"),
        ("ight", "ite"),
        ("ee", "ea"),
        ("ea", "ee"),
        ("c", "k"),
        ("tion", "shun"),
        ("ough", "uff"),
        ("ai", "ay"),
        ("oo", "u"),
        ("wh", "w"),
        ("kn", "n"),
        ("x", "cks"),
        ("s", "z"),
        ("er", "ur"),
        ("ll", "l"),
    ];
    let start = random.below(ALIKE.len());
    let turned = ALIKE.iter().cycle().skip(start).take(ALIKE.len());
    let mut fit = turned.filter(|(is, _)| word.contains(is));
    fit.next().map(|(is, other)| word.replacen(is, other, 1))
}

/// Promise, promised, promises, promising.
pub fn formed(word: &str, random: &mut Random) -> Option<String> {
    const ENDS: [&str; 3] = ["ing", "ed", "s"];
    if let Some(end) = ENDS.iter().find(|end| word.ends_with(**end)) {
        let stem = &word[..word.len() - end.len()];
        return (stem.len() > 2).then(|| stem.to_owned());
    }
    let stem = word.strip_suffix('e').unwrap_or(word);
    Some(match random.below(3) {
        0 => format!("{word}s"),
        1 => format!("{stem}ed"),
        _ => format!("{stem}ing"),
    })
}
