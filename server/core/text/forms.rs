//! When are two words forms of one word, and which words carry little?

use std::collections::{HashMap, HashSet};
use std::sync::LazyLock;

use rust_stemmers::{Algorithm, Stemmer};

/// English verbs whose past is no ending: base, then its other forms.
const IRREGULAR: &str = "be am is are was were been being;have has had;do does did done;\
go goes went gone;say says said;tell told;think thought;know knew known;see saw seen;\
come came;give gave given;take took taken;get got gotten;make made;find found;feel felt;\
keep kept;leave left;meet met;bring brought;buy bought;begin began begun;write wrote written;\
stand stood;hear heard;hold held;let;mean meant;set;run ran;pay paid;sit sat;speak spoke spoken;\
lead led;grow grew grown;lose lost;fall fell fallen;send sent;build built;understand understood;\
draw drew drawn;break broke broken;spend spent;rise rose risen;drive drove driven;wear wore worn;\
choose chose chosen;sing sang sung;swim swam swum;sleep slept;teach taught;catch caught;\
fight fought;seek sought;sell sold;throw threw thrown;fly flew flown;forget forgot forgotten;\
forgive forgave forgiven;eat ate eaten;drink drank drunk;ring rang rung;shake shook shaken;\
ride rode ridden;hide hid hidden;win won;shine shone;swear swore sworn;steal stole stolen;\
weep wept;wake woke woken;dream dreamt;learn learnt;burn burnt;light lit;bend bent;lend lent;\
child children;man men;woman women;foot feet;tooth teeth;person people;wife wives;life lives;\
leaf leaves;mouse mice;good better best;bad worse worst;blow blew blown;tear tore torn;\
bite bit bitten;become became;dig dug;hang hung;stick stuck;sweep swept;swing swung;sink sank sunk";

/// English words that say little of what a line is about.
const LITTLE: &str = "a an the and or but nor so if then than that this these those there here \
i me my mine myself you your yours he him his she her hers it its we us our ours they them their \
theirs who whom whose which what when where why how am is are was were be been being do does did \
have has had having will would shall should can could may might must of to in on at by for with \
from into onto about over under up down out off as not no yes just very too also only all any \
some such one two dont im ive ill id youre youve youll theyre were weve well hes shes thats theres \
isnt wasnt arent werent doesnt didnt havent hasnt hadnt wont wouldnt cant couldnt because like oh \
um uh er yeah ok okay now let lets got get really much more most every each";

/// Words that only lead up to what is asked for: `the bit about the kettle`.
const LEADING: &str = "bit part line thing something someone somebody moment where when who says \
said say talks talking talked speaks mentions mentioned tells told about goes something like";

/// Contractions and what they stand for; all in normal form.
const CONTRACTED: &[(&str, &[&str])] = &[
    ("im", &["i am"]),
    ("ive", &["i have"]),
    ("ill", &["i will", "i shall"]),
    ("id", &["i would", "i had"]),
    ("youre", &["you are"]),
    ("youve", &["you have"]),
    ("youll", &["you will"]),
    ("youd", &["you would", "you had"]),
    ("hes", &["he is", "he has"]),
    ("shes", &["she is", "she has"]),
    ("its", &["it is", "it has"]),
    ("thats", &["that is", "that has"]),
    ("theres", &["there is", "there has"]),
    ("heres", &["here is"]),
    ("whats", &["what is", "what has"]),
    ("whos", &["who is", "who has"]),
    ("lets", &["let us"]),
    ("weve", &["we have"]),
    ("wed", &["we would", "we had"]),
    ("theyre", &["they are"]),
    ("theyve", &["they have"]),
    ("theyll", &["they will"]),
    ("theyd", &["they would", "they had"]),
    ("hed", &["he would", "he had"]),
    ("shed", &["she would", "she had"]),
    ("itll", &["it will"]),
    ("dont", &["do not"]),
    ("doesnt", &["does not"]),
    ("didnt", &["did not"]),
    ("isnt", &["is not"]),
    ("arent", &["are not"]),
    ("wasnt", &["was not"]),
    ("werent", &["were not"]),
    ("havent", &["have not"]),
    ("hasnt", &["has not"]),
    ("hadnt", &["had not"]),
    ("wont", &["will not"]),
    ("wouldnt", &["would not"]),
    ("cant", &["can not", "cannot"]),
    ("couldnt", &["could not"]),
    ("shouldnt", &["should not"]),
    ("mustnt", &["must not"]),
    ("gonna", &["going to"]),
    ("wanna", &["want to"]),
    ("gotta", &["got to"]),
    ("cannot", &["can not"]),
];

static ENGLISH: LazyLock<Stemmer> = LazyLock::new(|| Stemmer::create(Algorithm::English));

/// The first of its family for each irregular form.
static FAMILY: LazyLock<HashMap<&str, &str>> = LazyLock::new(|| {
    let mut family = HashMap::new();
    for forms in IRREGULAR.split(';') {
        let mut forms = forms.split(' ');
        let first = forms.next().unwrap_or_default();
        family.extend(forms.map(|form| (form, first)));
    }
    family
});

static LITTLE_WORDS: LazyLock<HashSet<&str>> =
    LazyLock::new(|| LITTLE.split_ascii_whitespace().collect());

/// What the forms of a word have in common; `word` is in normal form. English: the
/// stems of the Snowball project (`rust-stemmers`), and irregular forms by a list of
/// our own. Words of other languages meet where English endings happen to fit them.
pub(super) fn base(word: &str) -> String {
    ENGLISH
        .stem(FAMILY.get(word).copied().unwrap_or(word))
        .into_owned()
}

/// Whether a word says little of what a line is about.
pub(super) fn says_little(word: &str) -> bool {
    LITTLE_WORDS.contains(word)
}

/// How many words at the beginning of a query only lead up to what is asked for.
pub(super) fn leading(words: &[&str]) -> usize {
    let leads = |word: &&&str| says_little(word) || is_leading(word);
    let count = words.iter().take_while(leads).count();
    let last = words[..count].iter().rposition(|word| is_leading(word));
    match last {
        // Something must be left that is asked for.
        Some(last) if words[last + 1..].iter().any(|word| !says_little(word)) => last + 1,
        _ => 0,
    }
}

fn is_leading(word: &str) -> bool {
    LEADING.split_ascii_whitespace().any(|lead| lead == word)
}

/// What a contraction stands for, word by word.
pub(super) fn opened(word: &str) -> Vec<Vec<&'static str>> {
    CONTRACTED
        .iter()
        .filter(|(short, _)| *short == word)
        .flat_map(|(_, long)| long.iter().map(|way| way.split(' ').collect()))
        .collect()
}

/// The contractions of these words.
pub(super) fn contracted(words: &[&str]) -> Vec<&'static str> {
    CONTRACTED
        .iter()
        .filter(|(_, long)| {
            long.iter()
                .any(|way| way.split(' ').eq(words.iter().copied()))
        })
        .map(|(short, _)| *short)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_of_a_word_meet() {
        for (a, b) in [
            ("promise", "promised"),
            ("promises", "promising"),
            ("kettle", "kettles"),
            ("told", "tells"),
            ("went", "going"),
            ("children", "child"),
            ("was", "is"),
        ] {
            assert_eq!(base(a), base(b), "{a} {b}");
        }
        for (a, b) in [("ferry", "fair"), ("kettle", "cattle"), ("ring", "rang2")] {
            assert_ne!(base(a), base(b), "{a} {b}");
        }
    }

    #[test]
    fn contractions_open_and_close() {
        assert_eq!(opened("ill"), [["i", "will"], ["i", "shall"]]);
        assert_eq!(contracted(&["do", "not"]), ["dont"]);
        assert!(opened("kettle").is_empty() && contracted(&["the", "kettle"]).is_empty());
    }

    #[test]
    fn what_leads_up_is_not_what_is_asked() {
        let lead = |text: &str| leading(&text.split(' ').collect::<Vec<_>>());
        assert_eq!(lead("the bit about the kettle"), 3);
        assert_eq!(lead("where she says the ferry is late"), 3);
        assert_eq!(lead("the kettle"), 0);
        assert_eq!(lead("the bit about the"), 0);
        assert_eq!(lead("tell me about it"), 0);
        assert_eq!(lead("kettle the part about"), 0);
    }
}
