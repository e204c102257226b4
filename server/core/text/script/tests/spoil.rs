//! Speech that was never spoken, and what a bad recogniser makes of it.
//!
//! Shared by the room's tests and `cargo xtask bench script`. Everything follows from a
//! seed.

/// Numbers by chance (xorshift64*, Vigna 2016).
pub struct Chance(u64);

impl Chance {
    /// The numbers of a seed.
    pub fn new(seed: u64) -> Self {
        let mut chance = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..8 {
            chance.next();
        }
        chance
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// From 0 to 1.
    pub fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// From 0 to below `most`.
    pub fn below(&mut self, most: usize) -> usize {
        ((self.share() * most as f64) as usize).min(most.saturating_sub(1))
    }

    /// One of a list.
    pub fn of<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[self.below(list.len())]
    }
}

/// Words that half of all talk is made of, the commonest first.
#[rustfmt::skip]
const COMMON: &[&str] = &[
    "the", "i", "you", "and", "to", "a", "it", "that", "of", "in", "is", "we", "so", "was",
    "for", "on", "my", "this", "have", "be", "with", "but", "not", "just", "they", "are",
    "what", "all", "he", "she", "it's", "there", "like", "when", "know", "do", "at", "your",
    "me", "no", "up", "out", "one", "get", "can", "if", "now", "go", "about", "his", "her",
    "from", "as", "or", "how", "come", "had", "here", "were", "then", "see", "been", "who",
    "will", "would", "think", "yeah", "well", "time", "by", "an", "really", "love", "got",
    "good", "don't", "i'm", "them", "say", "back", "over", "day", "him", "could", "some",
    "right", "make", "us", "our", "down", "very", "first", "because", "every", "into", "old",
];

/// Words of such a day; many stand in letters too.
#[rustfmt::skip]
const USUAL: &[&str] = &[
    "boat", "river", "ferry", "morning", "evening", "water", "kettle", "kitchen", "window",
    "dress", "flowers", "camera", "light", "lamp", "garden", "mother", "father", "brother",
    "sister", "grandmother", "uncle", "aunt", "dog", "coat", "pocket", "button", "bell", "bridge",
    "church", "music", "dance", "table", "chair", "glass", "wine", "bread", "cake", "toast",
    "promise", "marry", "happy", "beautiful", "little", "never", "always", "forever", "today",
    "tonight", "tomorrow", "years", "minute", "hour", "walk", "drive", "rain", "sun", "wind",
    "road", "house", "door", "room", "chairs", "photo", "picture", "smile", "laugh", "cry",
    "story", "name", "friend", "people", "guests", "everyone", "please", "thank", "sorry", "again",
    "wait", "stand", "sit", "left", "ready", "slowly", "quiet", "sound", "check", "battery",
    "ring", "rings", "letter", "read", "write", "shoes", "boots", "hair", "tea", "coffee",
    "breakfast", "supper", "noon", "summer", "october", "black", "blue", "green", "white", "dark",
    "cold", "warm", "wet", "dry", "lost", "found", "called", "told", "heard", "carried", "afraid",
    "brave", "tired", "listen", "remember", "forget", "believe", "somewhere", "nothing", "anything",
];

/// What is said again and again.
const PHRASES: &[&str] = &[
    "i love you so much",
    "thank you so much for coming",
    "oh my god you look beautiful",
    "every day for the rest of my life",
    "can you hear me all right",
    "just one more time please",
    "i promise to love you",
    "are you ready to go",
    "in the morning and in the evening",
    "come down here for a minute",
    "i will be there in a minute",
    "you are the love of my life",
];

const ONSETS: &[&str] = &[
    "b", "br", "d", "f", "g", "h", "k", "l", "m", "n", "p", "r", "s", "st", "t", "v", "w",
];
const MIDDLES: &[&str] = &["a", "e", "i", "o", "u", "ai", "ea", "oo", "ow"];
const ENDS: &[&str] = &[
    "", "l", "n", "nd", "r", "ck", "ss", "t", "st", "ming", "ler", "ton", "by", "ley",
];

/// So many words of other talk.
pub fn talk(words: usize, chance: &mut Chance) -> Vec<String> {
    let mut talk: Vec<String> = Vec::with_capacity(words + 8);
    while talk.len() < words {
        let kind = chance.share();
        if kind < 0.008 {
            talk.extend(chance.of(PHRASES).split(' ').map(str::to_owned));
        } else {
            talk.push(word(kind, chance));
        }
    }
    talk.truncate(words);
    talk
}

fn word(kind: f64, chance: &mut Chance) -> String {
    if kind < 0.7 {
        // As Zipf has it: the n-th is n times as rare.
        let n = (COMMON.len() as f64).powf(chance.share()) as usize;
        COMMON[n.min(COMMON.len()) - 1].to_owned()
    } else if kind < 0.9 {
        let n = USUAL.len() as f64 * chance.share().powf(1.5);
        USUAL[(n as usize).min(USUAL.len() - 1)].to_owned()
    } else {
        // Names and what comes once a day.
        let (a, b, c) = (chance.of(ONSETS), chance.of(MIDDLES), chance.of(ENDS));
        let more = if chance.share() < 0.5 {
            chance.of(MIDDLES)
        } else {
            ""
        };
        format!("{a}{b}{c}{more}")
    }
}

/// Spellings that are taken for each other, as sounds are.
const TAKEN: &[(&str, &str)] = &[
    ("th", "f"),
    ("th", "d"),
    ("p", "b"),
    ("b", "p"),
    ("t", "d"),
    ("d", "t"),
    ("k", "g"),
    ("g", "k"),
    ("s", "z"),
    ("v", "f"),
    ("f", "v"),
    ("m", "n"),
    ("n", "m"),
    ("er", "a"),
    ("a", "er"),
    ("ee", "i"),
    ("ea", "ee"),
    ("i", "e"),
    ("e", "i"),
    ("a", "e"),
    ("o", "u"),
    ("u", "o"),
    ("oo", "u"),
    ("ai", "ay"),
    ("ed", ""),
    ("s", ""),
    ("ing", "in"),
    ("h", ""),
    ("l", "r"),
    ("ck", "k"),
    ("w", "v"),
    ("y", "ey"),
];

/// A word as it may be misheard: by sound mostly, else any other.
fn misheard(word: &str, chance: &mut Chance) -> String {
    if chance.share() < 0.3 {
        let kind = chance.share();
        return self::word(kind, chance);
    }
    let mut out = word.to_lowercase();
    for _ in 0..1 + chance.below(2) {
        for _ in 0..12 {
            let (from, to) = TAKEN[chance.below(TAKEN.len())];
            let spots: Vec<usize> = out.match_indices(from).map(|(at, _)| at).collect();
            if !spots.is_empty() {
                let at = spots[chance.below(spots.len())];
                out.replace_range(at..at + from.len(), to);
                break;
            }
        }
    }
    if out.is_empty() { word.to_owned() } else { out }
}

/// The words with this share of them wrong: of the errors six in ten are words misheard,
/// two are left out, two put in; one in six of those misheard runs two words together
/// or parts one.
pub fn spoiled(words: &[String], errors: f64, chance: &mut Chance) -> Vec<String> {
    let mut out: Vec<String> = Vec::with_capacity(words.len());
    let mut at = 0;
    while at < words.len() {
        let word = &words[at];
        at += 1;
        if chance.share() >= errors {
            out.push(word.clone());
            continue;
        }
        let kind = chance.share();
        if kind < 0.2 {
            continue;
        } else if kind < 0.4 {
            out.push(word.clone());
            let other = chance.share();
            out.push(self::word(other, chance));
        } else if kind < 0.5 {
            let letters: Vec<char> = word.chars().collect();
            match words.get(at) {
                Some(next) if letters.len() < 5 => {
                    out.push(format!("{word}{next}"));
                    at += 1;
                }
                _ if letters.len() > 4 => {
                    let (one, two) = letters.split_at(letters.len() / 2);
                    out.extend([one, two].map(|half| half.iter().collect()));
                }
                _ => out.push(misheard(word, chance)),
            }
        } else {
            out.push(misheard(word, chance));
        }
    }
    out
}
