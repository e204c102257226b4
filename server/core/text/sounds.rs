//! What does a written word sound like, and how alike do two sound?
//!
//! Letters become sounds by rules of English spelling, which a recogniser keeps to
//! when it writes a name that it does not know. Sounds are compared by a weighted
//! edit distance: vowels by where they lie in the mouth, consonants by how they are
//! made; what English swallows (an r after a vowel, an h, a faint vowel) is cheap
//! to leave out.

use std::sync::LazyLock;

/// A sound, by its mark in [`SPELLINGS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sound(u8);

/// What a mark stands for: a consonant by a letter, a vowel by where it lies.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    /// `p b t d k g f v s z m n l r w y h`, and T as in thin, S as in she, Z as in
    /// measure, C as in chin, J as in gin, N as in sing.
    Consonant(u8),
    /// Front (0) to back (1), and closed (0) to open (1).
    Vowel(f32, f32),
}

use Kind::{Consonant, Vowel};

/// Spellings and their sounds, as [`spelled`] reads them: of several that fit, the
/// longest counts. `^` stands for the beginning of the word, `$` for its end.
#[rustfmt::skip]
const SPELLINGS: &[(&str, &str)] = &[
    ("^kn", "n"), ("^gn", "n"), ("^wr", "r"), ("^ps", "s"), ("^x", "z"), ("^who", "h8"),
    ("^gh", "g"), ("^y", "y"), ("ch", "C"), ("chr", "kr"), ("tch", "C"), ("sch", "sk"),
    ("sh", "S"), ("th", "T"), ("ph", "f"), ("wh", "w"), ("ck", "k"), ("qu", "kw"), ("dg", "J"),
    ("dge", "J"), ("tion", "Sxn"), ("sion", "Zxn"), ("tia", "Sx"), ("cia", "Sx"), ("gh", ""),
    ("ng$", "N"), ("ngs$", "Nz"), ("mb$", "m"), ("mn$", "m"),
    ("ce", "s2"), ("ci", "s1"), ("cy", "s1"), ("ce$", "s"), ("ces$", "sxz"), ("sce", "s2"),
    ("sci", "s1"), ("cce", "ks2"), ("cci", "ks1"),
    ("ge", "J2"), ("gi", "J1"), ("gy", "J1"), ("ge$", "J"), ("ges$", "Jxz"),
    ("a", "4"), ("e", "2"), ("i", "1"), ("o", "6"), ("u", "x"), ("y", "1"),
    ("c", "k"), ("q", "k"), ("x", "ks"), ("j", "J"),
    ("ai", "3"), ("ay", "3"), ("ei", "3"), ("ey", "3"), ("eigh", "3"), ("aigh", "3"),
    ("ea", "0"), ("ee", "0"), ("ie", "0"), ("eu", "8"), ("ew", "8"), ("oa", "7"), ("oo", "8"),
    ("ou", "L"), ("ow", "L"), ("oi", "A"), ("oy", "A"), ("au", "6"), ("aw", "6"), ("ui", "8"),
    ("eau", "7"), ("augh", "6"), ("ough", "6"), ("igh", "9"), ("ya", "y4"), ("ye", "y2"),
    ("yo", "y6"), ("yu", "y8"),
    ("er", "xr"), ("ir", "xr"), ("ur", "xr"), ("yr", "xr"), ("ar", "5r"), ("or", "6r"),
    ("air", "2r"), ("ear", "0r"), ("eer", "0r"), ("ier", "0r"), ("oor", "6r"), ("our", "6r"),
    ("are$", "2r"), ("ere$", "0r"), ("ore$", "6r"), ("ure$", "8r"), ("ire$", "9r"),
    ("a$", "x"), ("as$", "xz"), ("i$", "0"), ("o$", "7"), ("os$", "7z"), ("u$", "8"),
    ("y$", "0"), ("ys$", "0z"), ("ey$", "0"), ("eys$", "0z"), ("ie$", "0"), ("ies$", "0z"),
    ("oe$", "7"), ("ue$", "8"), ("ow$", "7"), ("ows$", "7z"), ("e$", ""), ("es$", "z"),
    ("ed$", "d"), ("ted$", "txd"), ("ded$", "dxd"),
];

/// Vowels before one consonant and a silent e.
const LONG: [(u8, u8); 5] = [
    (b'a', b'3'),
    (b'e', b'0'),
    (b'i', b'9'),
    (b'o', b'7'),
    (b'u', b'8'),
];

/// The sound of a mark: see, sit, set, late, cat, father, lot, go, too, like, the,
/// loud, boy; all others are consonants.
fn kind(mark: u8) -> Kind {
    match mark {
        b'0' => Vowel(0.0, 0.0),
        b'1' => Vowel(0.2, 0.2),
        b'2' => Vowel(0.2, 0.5),
        b'3' => Vowel(0.1, 0.35),
        b'4' => Vowel(0.3, 0.9),
        b'5' => Vowel(0.7, 1.0),
        b'6' => Vowel(0.9, 0.75),
        b'7' => Vowel(1.0, 0.4),
        b'8' => Vowel(0.9, 0.0),
        b'9' => Vowel(0.35, 0.7),
        b'x' => Vowel(0.5, 0.5),
        b'L' => Vowel(0.65, 0.7),
        b'A' => Vowel(0.7, 0.4),
        consonant => Consonant(consonant),
    }
}

fn is_vowel(letter: u8) -> bool {
    matches!(letter, b'a' | b'e' | b'i' | b'o' | b'u' | b'y')
}

/// The sounds of a word in normal form; none for a word that has other letters than
/// those of English.
pub(super) fn sounds(word: &str) -> Vec<Sound> {
    let letters = word.as_bytes();
    let mut sounds: Vec<Sound> = Vec::with_capacity(letters.len());
    if !letters.iter().all(u8::is_ascii_lowercase) {
        return sounds;
    }
    let mut at = 0;
    while at < letters.len() {
        if at > 0 && letters[at] == letters[at - 1] && !is_vowel(letters[at]) {
            at += 1;
        } else if let Some(mark) = long_vowel(letters, at) {
            sounds.push(Sound(mark));
            at += 1;
        } else if let Some(spelling) = longest(letters, at) {
            sounds.extend(spelling.marks.bytes().map(Sound));
            at += spelling.letters.len();
        } else {
            sounds.push(Sound(letters[at]));
            at += 1;
        }
    }
    if sounds.is_empty() {
        // Only silent letters: they are said after all.
        sounds.extend(letters.iter().copied().map(Sound));
    }
    sounds
}

/// The mark of a vowel that a silent e at the end makes long, or of an only e.
fn long_vowel(letters: &[u8], at: usize) -> Option<u8> {
    if letters[at..] == [b'e'] && !letters[..at].iter().any(|letter| is_vowel(*letter)) {
        // The only vowel: be, she.
        return Some(b'0');
    }
    let [vowel, consonant, b'e'] = letters[at..] else {
        return None;
    };
    let alone = at == 0 || !is_vowel(letters[at - 1]);
    let closes = !is_vowel(consonant) && !matches!(consonant, b'w' | b'x' | b'r');
    LONG.iter()
        .find(|(short, _)| *short == vowel && alone && closes)
        .map(|(_, long)| *long)
}

/// How letters are said.
struct Spelling {
    letters: &'static str,
    /// Only at the beginning of a word, or at its end.
    begins: bool,
    ends: bool,
    marks: &'static str,
}

/// [`SPELLINGS`] by their first letter, of each the longest and those of most conditions
/// first.
static BY_LETTER: LazyLock<[Vec<Spelling>; 26]> = LazyLock::new(|| {
    let of = |first: u8| {
        let all = SPELLINGS.iter().map(|(spelling, marks)| Spelling {
            letters: spelling.trim_matches(['^', '$']),
            begins: spelling.starts_with('^'),
            ends: spelling.ends_with('$'),
            marks,
        });
        let own = all.filter(|spelling| spelling.letters.as_bytes()[0] == first);
        let mut own: Vec<Spelling> = own.collect();
        let rank = |one: &Spelling| (one.letters.len(), one.begins as u8 + one.ends as u8);
        own.sort_by_key(|one| std::cmp::Reverse(rank(one)));
        own
    };
    std::array::from_fn(|n| of(b'a' + n as u8))
});

/// The longest spelling that stands here.
fn longest(letters: &[u8], at: usize) -> Option<&'static Spelling> {
    let own = BY_LETTER.get(usize::from(letters[at] - b'a'))?;
    own.iter().find(|spelling| {
        let ends = at + spelling.letters.len() == letters.len();
        // A word is more than its ending.
        let silent = spelling.marks.is_empty() && at == 0;
        (at == 0 || !spelling.begins)
            && (ends || !spelling.ends)
            && !silent
            && letters[at..].starts_with(spelling.letters.as_bytes())
    })
}

/// What a sound is worth: how much it adds to how long two words are.
fn weight(sound: Kind) -> f32 {
    match sound {
        Consonant(b'h' | b'w' | b'y') => 0.6,
        Consonant(_) => 1.0,
        Vowel(..) => 0.6,
    }
}

/// How long a stretch of sounds is: some 3 for a short name, 8 for a long one.
pub(super) fn length(sounds: &[Sound]) -> f32 {
    sounds.iter().map(|sound| COSTS.weight[sound.at()]).sum()
}

/// What it costs to leave a sound out.
fn omitted(sound: Kind) -> f32 {
    match sound {
        Consonant(b'h') => 0.3,
        Consonant(b'r') => 0.45,
        Consonant(b'w' | b'y') => 0.4,
        Consonant(b't' | b'd') => 0.65,
        Consonant(_) => 0.85,
        // A faint vowel is hardly there.
        Vowel(x, y) if (x - 0.5).abs() < 0.35 && (y - 0.4).abs() < 0.25 => 0.35,
        Vowel(..) => 0.5,
    }
}

/// Consonants that are taken for each other, and what that costs.
#[rustfmt::skip]
const NEAR: &[(&[u8; 2], f32)] = &[
    (b"pb", 0.35), (b"td", 0.3), (b"kg", 0.35), (b"fv", 0.3), (b"sz", 0.2), (b"SZ", 0.2),
    (b"CJ", 0.3), (b"SC", 0.4), (b"ZJ", 0.3), (b"sS", 0.5), (b"zZ", 0.5), (b"zJ", 0.6),
    (b"Td", 0.4), (b"Tt", 0.45), (b"Tf", 0.35), (b"Tv", 0.4), (b"Ts", 0.5), (b"Ct", 0.6),
    (b"Jd", 0.6), (b"Jg", 0.4), (b"Jy", 0.5), (b"Ck", 0.5), (b"mn", 0.45), (b"nN", 0.25),
    (b"mN", 0.6), (b"lr", 0.7), (b"wv", 0.5), (b"wr", 0.6), (b"bv", 0.5), (b"pf", 0.6),
    (b"bm", 0.7), (b"dn", 0.75), (b"hw", 0.5), (b"lw", 0.6), (b"tk", 0.7), (b"pt", 0.75),
    (b"bd", 0.7), (b"dg", 0.75), (b"pk", 0.75), (b"fs", 0.7), (b"hk", 0.7),
];

/// What it costs to take one sound for another.
fn exchanged(a: Kind, b: Kind) -> f32 {
    match (a, b) {
        (Consonant(a), Consonant(b)) if a == b => 0.0,
        (Consonant(a), Consonant(b)) => NEAR
            .iter()
            .find(|(pair, _)| **pair == [a, b] || **pair == [b, a])
            .map_or(1.0, |(_, cost)| *cost),
        (Vowel(ax, ay), Vowel(bx, by)) => {
            let apart = ((ax - bx).powi(2) + (ay - by).powi(2)).sqrt();
            if apart == 0.0 {
                0.0
            } else {
                (0.05 + 0.5 * apart).min(0.55)
            }
        }
        // A glide is nearly a vowel.
        (Consonant(b'w' | b'y' | b'r' | b'l'), Vowel(..))
        | (Vowel(..), Consonant(b'w' | b'y' | b'r' | b'l')) => 0.7,
        _ => 1.2,
    }
}

/// Marks are letters and digits.
const MARKS: usize = 128;

/// What every sound costs and every two, worked out once: words are compared by the
/// thousand.
struct Costs {
    weight: [f32; MARKS],
    omitted: [f32; MARKS],
    exchanged: Vec<[f32; MARKS]>,
}

static COSTS: LazyLock<Costs> = LazyLock::new(|| {
    let kinds: [Kind; MARKS] = std::array::from_fn(|mark| kind(mark as u8));
    let against = |a: &Kind| kinds.map(|b| exchanged(*a, b));
    Costs {
        weight: kinds.map(weight),
        omitted: kinds.map(omitted),
        exchanged: kinds.iter().map(against).collect(),
    }
});

/// What it costs to leave a sound out.
pub(super) fn omission(sound: Sound) -> f32 {
    COSTS.omitted[sound.at()]
}

/// What it costs to take one sound for another.
pub(super) fn exchange(a: Sound, b: Sound) -> f32 {
    COSTS.exchanged[a.at()][b.at()]
}

impl Sound {
    fn at(self) -> usize {
        usize::from(self.0) % MARKS
    }
}

/// How alike two stretches of sounds are: 1 the same, 0 nothing in common.
pub(super) fn likeness(a: &[Sound], b: &[Sound]) -> f32 {
    alike_at_least(a, b, 0.0).unwrap_or(0.0)
}

/// How alike two stretches of sounds are, if that is at least so much; given up as soon as
/// it can't be.
pub(super) fn alike_at_least(a: &[Sound], b: &[Sound], least: f32) -> Option<f32> {
    let longer = length(a).max(length(b));
    if longer == 0.0 {
        return None;
    }
    // What all changes may cost; a little more, for sums are not exact.
    let most = (1.0 - least) * longer + 1e-4;
    let costs = &*COSTS;
    let mut few = [0.0_f32; 24];
    let mut many = Vec::new();
    let above: &mut [f32] = match few.get_mut(..=b.len()) {
        Some(above) => above,
        None => {
            many.resize(b.len() + 1, 0.0);
            &mut many
        }
    };
    for (n, sound) in b.iter().enumerate() {
        above[n + 1] = above[n] + costs.omitted[sound.at()];
    }
    for x in a {
        let out = costs.omitted[x.at()];
        let exchanged = &costs.exchanged[x.at()];
        let mut diagonal = above[0];
        above[0] += out;
        let mut cheapest = above[0];
        for (n, y) in b.iter().enumerate() {
            let changed = diagonal + exchanged[y.at()];
            diagonal = above[n + 1];
            above[n + 1] = changed
                .min(diagonal + out)
                .min(above[n] + costs.omitted[y.at()]);
            cheapest = cheapest.min(above[n + 1]);
        }
        // No way on is cheaper than the cheapest so far.
        if cheapest > most {
            return None;
        }
    }
    let alike = (1.0 - above[b.len()] / longer).max(0.0);
    (above[b.len()] <= most).then_some(alike)
}

/// The most that stretches of two lengths can be alike.
pub(super) fn most_alike(a: f32, b: f32) -> f32 {
    // No sound costs less to leave out than an r, for what it is worth.
    1.0 - 0.45 * (a - b).abs() / a.max(b).max(f32::MIN_POSITIVE)
}

/// The consonants by kind, which survive mishearing: names are looked up by them.
pub(super) fn skeleton(sounds: &[Sound]) -> String {
    let of = |sound: &Sound| match kind(sound.0) {
        Consonant(b'p' | b'b' | b'f' | b'v') => Some('p'),
        Consonant(b't' | b'd' | b'T') => Some('t'),
        Consonant(b'k' | b'g') => Some('k'),
        Consonant(b's' | b'z' | b'S' | b'Z' | b'C' | b'J') => Some('s'),
        Consonant(b'm' | b'n' | b'N') => Some('n'),
        Consonant(b'l') => Some('l'),
        _ => None,
    };
    sounds.iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn alike(a: &str, b: &str) -> f32 {
        likeness(&sounds(a), &sounds(b))
    }

    #[test]
    fn what_sounds_the_same_is_the_same() {
        for (a, b) in [
            ("knight", "nite"),
            ("phone", "fone"),
            ("philip", "filip"),
            ("catherine", "katherine"),
            ("reed", "read"),
            ("quill", "kwill"),
            ("jean", "jeen"),
            ("bea", "be"),
            ("anne", "ann"),
        ] {
            assert!(alike(a, b) > 0.97, "{a} {b} {}", alike(a, b));
        }
    }

    #[test]
    fn names_are_near_what_is_written_for_them_and_far_from_others() {
        for (name, heard) in [
            ("ottilie", "otterly"),
            ("corin", "coren"),
            ("halvard", "halverd"),
            ("jory", "jury"),
            ("marrowby", "marobee"),
            ("osric", "ozrick"),
            ("isaura", "isora"),
            ("ione", "eyeown"),
        ] {
            assert!(
                alike(name, heard) > 0.7,
                "{name} {heard} {}",
                alike(name, heard)
            );
        }
        for (name, heard) in [
            ("ottilie", "often"),
            ("corin", "garden"),
            ("halvard", "all"),
            ("jory", "river"),
            ("marrowby", "morning"),
            ("osric", "across"),
            ("brackwater", "back"),
        ] {
            assert!(
                alike(name, heard) < 0.74,
                "{name} {heard} {}",
                alike(name, heard)
            );
        }
    }

    #[test]
    fn skeletons_outlive_mishearing() {
        let skeleton = |word: &str| skeleton(&sounds(word));
        assert_eq!(skeleton("ottilie"), "tl");
        assert_eq!(skeleton("otterly"), "tl");
        assert_eq!(skeleton("pogglesworth"), "pklst");
        assert_eq!(skeleton("ah"), "");
    }

    #[test]
    fn other_scripts_have_no_sounds_here() {
        for word in ["иван", "שרה", "7", ""] {
            assert!(sounds(word).is_empty(), "{word}");
        }
    }

    proptest! {
        #[test]
        fn likeness_is_symmetric_and_bounded(a in "[a-z]{0,14}", b in "[a-z]{0,14}") {
            let (there, back) = (alike(&a, &b), alike(&b, &a));
            prop_assert!((there - back).abs() < 1e-4);
            prop_assert!((0.0..=1.0).contains(&there));
            let (a, b) = (sounds(&a), sounds(&b));
            prop_assert!(there <= most_alike(length(&a), length(&b)) + 1e-4);
            prop_assert!(a.is_empty() || likeness(&a, &a) == 1.0);
            for least in [0.3, 0.72, 0.9] {
                let given_up = alike_at_least(&a, &b, least);
                prop_assert!(given_up.is_none_or(|alike| alike == there));
                prop_assert!(given_up.is_some() || there < least + 1e-3);
            }
        }
    }
}
