//! Made-up events in which names are said: who, what, and the sound of it.
//!
//! A seed draws the names of an event, its lines, its voices and its room; the
//! same seed gives the same samples.

use std::process::Command;

use sayback::core::units::FileMs;
use sayback::speech::Span;
use xtask::oracle;
use xtask::scene::noise::Noise;
use xtask::scene::random::Random;
use xtask::scene::room::{Reverb, reflections};
use xtask::scene::spec::{NoiseKind, RoomSpec};

const RATE: usize = 16_000;
const VOICES: [&str; 4] = ["slt", "rms", "awb", "kal16"];

const PEOPLE: [&str; 26] = [
    "Ottilie",
    "Corin",
    "Halvard",
    "Jory",
    "Isaura",
    "Thessaly",
    "Merrin",
    "Aldous",
    "Perpetua",
    "Ione",
    "Tamsin",
    "Leocadia",
    "Osric",
    "Elowen",
    "Sunniva",
    "Anselm",
    "Zephyrine",
    "Rafferty",
    "Evander",
    "Philippa",
    "Caspian",
    "Rosamund",
    "Torquil",
    "Linnea",
    "Ambrose",
    "Verity",
];
const FAMILIES: [&str; 14] = [
    "Marrowby",
    "Aldersea",
    "Thistlewick",
    "Penhallow",
    "Brambleforth",
    "Varnholt",
    "Dunmorrow",
    "Fennimore",
    "Tolliver",
    "Wexcombe",
    "Oakwood",
    "Hartigan",
    "Lindqvist",
    "Summerscale",
];
const PLACES: [&str; 12] = [
    "Tarrow Landing",
    "Kestrel Point",
    "Hollin Fell",
    "Merridew Hall",
    "Brackwater",
    "Gillyford",
    "Ravensmere",
    "Saltergate",
    "Pellow Cove",
    "Nettlecombe",
    "Orrin Lodge",
    "Thornaby Sands",
];
const PETS: [&str; 10] = [
    "Pogglesworth",
    "Snickett",
    "Bartleby",
    "Marzipan",
    "Tuppence",
    "Wellington",
    "Fizzgig",
    "Mopsy",
    "Rumbold",
    "Dandelion",
];
/// Names of the event that nobody says, near to what everybody says.
const NEAR: [&str; 12] = [
    "Mary", "Carrie", "Barry", "Harry", "Phil", "Ann", "Bea", "Dawn", "Wes", "Flo", "Lyn", "Marc",
];

const NAMED: [&str; 40] = [
    "Please raise your glasses to {p} and {p}.",
    "When {p} first met {p}, it was raining in {l}.",
    "My name is {p} {f}, and I am the older brother.",
    "We all know that {t} ate half of the wedding cake.",
    "Nobody at {l} will ever forget that summer.",
    "{p}'s mother still has the letter.",
    "The {f}s have lived by the river for a hundred years.",
    "I asked {p} to look after the dog, and the dog came home with {t}.",
    "Then {p} said yes, and we drove all night to {l}.",
    "Thank you, {p}, for the flowers and the music.",
    "There is a photograph of {p} with {t} on the stairs.",
    "{p} taught me how to swim, and {p} taught me how to sink.",
    "Doctor {f} will read the next poem.",
    "I have known {p} {f} since we were seven years old.",
    "You should have seen {t} run across the garden.",
    "It was {p} who painted the door of {l}.",
    "Are you ready, {p}?",
    "My sister {p} could not be here today.",
    "At {l} the bells ring every evening.",
    "Old Mister {f} gave us the boat.",
    "I promised {p} that I would not cry.",
    "This song is for {p}, and for {p}, and for little {t}.",
    "We walked from {l} to the sea.",
    "Every child in the village knew {p}'s bicycle.",
    "I take you, {p}, to be my husband.",
    "I take you, {p}, to be my wife.",
    "Somebody please wake up {t}.",
    "The kitchen at {l} smelled of bread.",
    "{p} {f} told me this story twice.",
    "We lost the rings, and {p} found them in a shoe.",
    "Let us hear from {p}.",
    "{t} was sleeping under the table the whole time.",
    "That is how {p} became a {f}.",
    "Come up here, {p}, and bring your guitar.",
    "Grandmother {p} danced until midnight.",
    "They bought the old house in {l} last winter.",
    "Without {p} there would be no dinner tonight.",
    "Ask {p} about the swan.",
    "Where is {t}?",
    "From the bridge at {l} you can see the lights.",
];
const PLAIN: [&str; 26] = [
    "We will marry in the morning and carry the bell home.",
    "Fill the bowl and hurry up the hill.",
    "It was down by the floor of an old barn.",
    "The berries were very merry and the bears were hairy.",
    "Mark the line and be quiet.",
    "I have been waiting for this day all my life.",
    "The light on the water was silver and green.",
    "She made me laugh so much that I dropped the plates.",
    "There is nothing better than warm bread and butter.",
    "He carried the chairs across the field and back again.",
    "An hour later the wind had gone and the stars came out.",
    "Bury the box in the sand and draw a map.",
    "Flow with the river, and do not fight it.",
    "We were young, and the car was older than all of us.",
    "You told me that love is a kind of weather.",
    "And then the lights went out, and everybody sang.",
    "The cake has seven floors and not one of them is straight.",
    "Put your hands together for the band.",
    "I was standing in the kitchen with flour on my nose.",
    "In a marriage you need patience and a good umbrella.",
    "Be kind to each other, and be on time for dinner.",
    "We do not marry the day, we marry the years.",
    "Nobody knows how many letters they wrote that winter.",
    "The train was late, and that is why we are here.",
    "Dinner will be served in the garden in half an hour.",
    "I would like to thank the cook and the weather.",
];

/// A line.
pub struct Line {
    /// As it is said.
    pub text: String,
}

/// An event.
pub struct Scene {
    /// What is said.
    pub lines: Vec<Line>,
    /// All of its names, those nobody says among them.
    pub glossary: Vec<String>,
    /// 16 kHz mono.
    pub samples: Vec<f32>,
    /// Where each line is.
    pub spans: Vec<Span>,
}

fn drawn<const N: usize>(pool: [&str; N], count: usize, random: &mut Random) -> Vec<String> {
    let mut pool = pool;
    random.shuffle(&mut pool);
    pool[..count].iter().map(|&name| name.to_owned()).collect()
}

impl Scene {
    /// The names of the event of a seed.
    pub fn glossary_of(seed: u64) -> Vec<String> {
        let random = &mut Random::new(seed, "names");
        let mut names = drawn(PEOPLE, 14, random);
        names.extend(drawn(FAMILIES, 7, random));
        names.extend(drawn(PLACES, 6, random));
        names.extend(drawn(PETS, 5, random));
        names.extend(NEAR.map(str::to_owned));
        names
    }

    /// The event of a seed: 64 lines with names, 26 without.
    pub fn new(seed: u64) -> Self {
        let random = &mut Random::new(seed, "names");
        let pools = [
            ("{p}", drawn(PEOPLE, 14, random)),
            ("{f}", drawn(FAMILIES, 7, random)),
            ("{l}", drawn(PLACES, 6, random)),
            ("{t}", drawn(PETS, 5, random)),
        ];
        let mut templates: Vec<&str> = NAMED.to_vec();
        templates.extend(&drawn_lines(random));
        templates.extend(PLAIN);
        random.shuffle(&mut templates);
        let lines: Vec<Line> = templates.iter().map(|t| said(t, &pools, random)).collect();
        let mut glossary: Vec<String> = pools.iter().flat_map(|(_, names)| names.clone()).collect();
        glossary.extend(NEAR.map(str::to_owned));
        let (samples, spans) = sound(&lines, random);
        Self {
            lines,
            glossary,
            samples,
            spans,
        }
    }
}

/// 5,000 made-up names of two to four syllables.
pub fn thousands() -> Vec<String> {
    const BEGIN: [&str; 10] = [
        "Ma", "Os", "Tha", "Bel", "Cor", "Is", "Zu", "Per", "Lin", "Wex",
    ];
    const MIDDLE: [&str; 25] = [
        "ro", "ri", "la", "the", "va", "no", "mi", "du", "ber", "sa", "ti", "go", "wi", "fe", "lo",
        "ka", "mo", "re", "ju", "ne", "ha", "pe", "so", "vi", "ya",
    ];
    const END: [&str; 20] = [
        "by", "ric", "lia", "ston", "wick", "na", "dor", "mere", "belle", "ford", "low", "ix",
        "gan", "thy", "cote", "ward", "sel", "ette", "mund", "is",
    ];
    let ends = |start: String| END.iter().map(move |end| format!("{start}{end}"));
    let starts = BEGIN
        .iter()
        .flat_map(|a| MIDDLE.iter().map(move |b| format!("{a}{b}")));
    starts.flat_map(ends).collect()
}

/// 24 lines with names once more, with other names.
fn drawn_lines(random: &mut Random) -> Vec<&'static str> {
    let mut named = NAMED;
    random.shuffle(&mut named);
    named[..24].to_vec()
}

fn said(template: &str, pools: &[(&str, Vec<String>)], random: &mut Random) -> Line {
    let mut text = String::new();
    let mut rest = template;
    while let Some(at) = rest.find('{') {
        let (before, slot) = rest.split_at(at);
        text.push_str(before);
        let pool = pools.iter().find(|(key, _)| slot.starts_with(key));
        let names_here = &pool.expect("a slot that is known").1;
        let name = &names_here[random.below(names_here.len())];
        text.push_str(name);
        rest = &slot[3..];
    }
    text.push_str(rest);
    Line { text }
}

/// The lines one after the other in a room, and where they are.
fn sound(lines: &[Line], random: &mut Random) -> (Vec<f32>, Vec<Span>) {
    let dir = tempfile::tempdir().expect("a scratch folder");
    let mut samples = vec![0.0_f32; RATE / 2];
    let mut spans = Vec::new();
    for line in lines {
        let voice = VOICES[random.below(VOICES.len())];
        let file = dir.path().join("line.wav");
        let spoken = Command::new(oracle::flite())
            .args(["-voice", voice, "-t", &line.text, "-o"])
            .arg(&file)
            .status();
        assert!(spoken.expect("flite runs").success());
        let stream = sayback::media::probe(&file).expect("a line's sound");
        let end = FileMs(stream.duration_ms);
        let dry =
            sayback::media::read_analysis(&file, sayback::media::ChannelPick::Mix, FileMs(0), end)
                .expect("samples");
        let power: f32 = dry.iter().map(|s| s * s).sum::<f32>() / dry.len().max(1) as f32;
        let gain = 0.08 / power.sqrt().max(1e-6);
        let start = samples.len();
        samples.extend(dry.iter().map(|s| s * gain));
        spans.push(Span {
            start: ms(start),
            end: ms(samples.len()),
        });
        let gap = random.between(0.3, 1.4);
        samples.extend(vec![0.0; (gap * RATE as f64) as usize]);
    }
    (in_a_room(&samples, random), spans)
}

fn ms(samples: usize) -> FileMs {
    FileMs((samples / (RATE / 1_000)) as i64)
}

/// A room, a microphone 1.5 to 3 m away, pink noise 15 to 22 dB below.
fn in_a_room(dry: &[f32], random: &mut Random) -> Vec<f32> {
    let room = RoomSpec {
        critical_m: 2.0,
        rt60_s: random.between(0.3, 0.6),
    };
    let distance = random.between(1.5, 3.0);
    let early = reflections(distance, random);
    let mut tail = Reverb::new(&room);
    let strength = (distance / room.critical_m) as f32;
    let mut wet: Vec<f32> = (0..dry.len())
        .map(|at| {
            let late: f32 = early
                .iter()
                .filter_map(|(delay, gain)| Some(gain * dry[at.checked_sub(*delay)?]))
                .sum();
            dry[at] + late + 0.5 * strength * tail.next(dry[at])
        })
        .collect();
    let noise = 0.08 * 10.0_f64.powf(-random.between(15.0, 22.0) / 20.0);
    let bed = Random::new(random.bits(), "bed");
    Noise::new(NoiseKind::Pink, bed).add(&mut wet, noise as f32);
    let most = wet.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
    wet.iter_mut().for_each(|s| *s *= 0.7 / most.max(0.7));
    wet
}
