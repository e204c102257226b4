//! What is said in the made-up events that nothing is tuned by, written as `tuning`
//! is. No line, no name and no place is in both.

/// The line, and the half-remembered line.
pub const LINES: [(&str, &str); 34] = [
    (
        "When {p} was small she buried a trumpet in the vegetable garden and forgot where.",
        "the trumpet buried in the garden",
    ),
    (
        "I promised your father {n} years ago that I would teach you to sharpen a knife.",
        "promising the father to teach sharpening knives",
    ),
    (
        "The ferry from {l} was late, so the bridesmaids crossed in a coal barge wearing sacks.",
        "bridesmaids crossing in a barge",
    ),
    (
        "{t} has eaten the buttonholes | and I am told that he enjoyed the lilies most.",
        "the animal that ate the buttonholes and lilies",
    ),
    (
        "You never asked me to be brave, you only held the torch while I looked for the fuse.",
        "holding the torch while looking for the fuse",
    ),
    (
        "Professor {f} measured the dance floor with a piece of string and declared it {n} feet wide.",
        "measuring the dance floor with string",
    ),
    (
        "I'm not a poet, {p}, but I've written you something on the back of a railway ticket.",
        "a poem on the back of a ticket",
    ),
    (
        "They'll tell you that the boat house burned down in the spring, but it was only the shed.",
        "what burned down was just the shed",
    ),
    (
        "My grandfather kept {n} hives behind the chapel and talked to the bees about cricket.",
        "talking to bees about cricket",
    ),
    (
        "Hope is a small thing | it fits in a thimble and it weighs as much as a house.",
        "hope fitting inside a thimble",
    ),
    (
        "On the road to {l} we met a shepherd who sold us a gate and a bottle of elderberry wine.",
        "shepherd selling a gate and elderberry wine",
    ),
    (
        "The tide doesn't wait for anybody, and {p} doesn't wait for the tide.",
        "not waiting for the tide",
    ),
    (
        "I will learn the names of your cousins, all {n} of them, even the twins.",
        "learning the cousins' names and the twins",
    ),
    (
        "Somebody has hidden the violin in the laundry basket, and I suspect {p} {f}.",
        "violin hidden with the laundry",
    ),
    (
        "She'd walked {n} miles along the riverbank in her Sunday shoes to return a borrowed umbrella.",
        "walking miles to give an umbrella back",
    ),
    (
        "We couldn't afford a honeymoon, so we pitched the tablecloth in the orchard and called it Venice.",
        "the honeymoon in the orchard called Venice",
    ),
    (
        "{p} brought a saucepan to the rehearsal because nobody had explained what a tambourine was.",
        "saucepan instead of a tambourine",
    ),
    (
        "May your quarrels be short, may your gravy be thick, and may the goat stay out of the parlour.",
        "wishing short quarrels and thick gravy",
    ),
    (
        "There is a crack in the church bell | and through it you can hear the whole valley breathing.",
        "hearing the valley through the cracked bell",
    ),
    (
        "{p} proposed on the roof of the library at {l}, during a thunderstorm, with a ring from a cracker.",
        "proposing on the library roof in a storm",
    ),
    (
        "I haven't slept since Thursday, and it's entirely the fault of the accordion.",
        "no sleep since Thursday because of the accordion",
    ),
    (
        "We asked the {f}s for directions and they gave us supper, a puppy, and a bed for {n} nights.",
        "asking directions and getting a puppy",
    ),
    (
        "Your mother sewed a sixpence into the hem, and you mustn't tell anybody which side.",
        "sixpence sewn in the hem",
    ),
    (
        "Doctor {p} {f} delivered me in this very room while the band rehearsed the polka.",
        "born here while the band played a polka",
    ),
    (
        "When the lamps went out at {l}, {p} lit {n} candles and told ghost stories to the waiters.",
        "ghost stories by candles for the waiters",
    ),
    (
        "I take you, {p}, in the sunrise and in the dishwater, when you're late and when I am impossible.",
        "taking you in sunrise and dishwater",
    ),
    (
        "You are the chapter I kept rereading | and I hope that the ending is a long way off.",
        "being a chapter read again and again",
    ),
    (
        "Nobody warned me that the {f} sisters cheat at dominoes, and I've lost my bicycle.",
        "losing a bicycle at dominoes",
    ),
    (
        "He said he'd build the staircase by Easter, and he didn't say which Easter.",
        "the staircase promised for Easter",
    ),
    (
        "Aunt {p} has knitted {n} blankets for the nursery, although she admits that she's guessing.",
        "knitting blankets for a nursery that is a guess",
    ),
    (
        "Thank you to the butcher, the baker, and {t}, who guarded the marquee through the hail.",
        "guarding the marquee in the hail",
    ),
    (
        "If you follow the footbridge past {l} you'll find the bench where they carved their initials in {n}.",
        "initials carved on the bench past the bridge",
    ),
    (
        "We shall eat at six, we shall dance at eight, and the fireworks will begin whenever {p} finds the matches.",
        "fireworks start once the matches are found",
    ),
    (
        "I've hidden a birthday letter for you in every drawer of the desk, and the last one won't open until we are old.",
        "letters in every drawer of the desk",
    ),
];
