//! What is said in the made-up events that a search may be tuned by, and what an
//! editor remembers of it.
//!
//! `{p}`: a person, `{f}`: a family, `{l}`: a place, `{t}`: an animal, `{n}`: a
//! number; `|`: a pause of two seconds.

/// The line, and the half-remembered line.
pub const LINES: [(&str, &str); 34] = [
    (
        "The kettle at {l} was so loud that {p} dropped {n} plates on the kitchen floor.",
        "the bit about dropping plates because of the kettle",
    ),
    (
        "I have known {p} since we shared a leaking tent beside the river in the autumn of {n}.",
        "sharing a leaky tent by the river",
    ),
    (
        "When {p} rowed across in the fog, she carried nothing but a candlestick and a tin of ginger biscuits.",
        "rowing through fog with ginger biscuits",
    ),
    (
        "Our grandmother always said that a marriage needs {n} spoons and only one teapot.",
        "a marriage needs one teapot",
    ),
    (
        "{t} chewed the corner of the invitation | so nobody knew where to park the cars.",
        "the dog chewing the invitation",
    ),
    (
        "Old Mister {f} taught every child in the village how to tie a bowline.",
        "teaching the children to tie knots, a bowline",
    ),
    (
        "I promise to mend the roof before the winter, and to warn you when the ladder is loose.",
        "promise about mending the roof and the ladder",
    ),
    (
        "I'll bring you coffee on the cold mornings, and I won't complain about the frost on the windscreen.",
        "bringing coffee when the mornings are cold",
    ),
    (
        "We've painted that boathouse {n} times, and it's still the colour of porridge.",
        "the boathouse painted like porridge",
    ),
    (
        "{p} told me once that patience is like bread | you can't hurry it and you mustn't open the oven.",
        "patience being like bread in the oven",
    ),
    (
        "The {f} family came down from {l} in a borrowed milk van with the wedding cake between their knees.",
        "they came in a milk van holding the cake",
    ),
    (
        "Please be careful on the footpath tonight, because the lanterns are made of paper and the grass is wet.",
        "careful with the paper lanterns on the path",
    ),
    (
        "My brother {p} can't swim, can't sing, and couldn't stop smiling when he heard the news.",
        "brother who could not stop smiling at the news",
    ),
    (
        "You found my scarf in the lighthouse, and you kept it folded in your notebook for a year.",
        "the scarf folded in the notebook",
    ),
    (
        "There were {n} letters in the biscuit tin, and every one of them began with an apology about the weather.",
        "letters in the tin apologising for weather",
    ),
    (
        "{p} and {p} planted an apple tree on the day that the bridge was closed.",
        "planting a tree when the bridge closed",
    ),
    (
        "We will never forget how {t} slept in the wheelbarrow during the speeches.",
        "asleep in the wheelbarrow while people gave speeches",
    ),
    (
        "I am standing here in my uncle's shoes, which are two sizes too large and full of newspaper.",
        "shoes too big and stuffed with newspaper",
    ),
    (
        "What I admire most about {p} is the way she argues with the radio and always wins.",
        "arguing with the radio",
    ),
    (
        "It was snowing at {l} when the engine died, so they pushed the van for {n} miles singing all the way.",
        "pushing the van in the snow while singing",
    ),
    (
        "A good harbour isn't where the sea is quiet | it's where somebody leaves a light on the doorstep.",
        "a harbour is where someone leaves a light on",
    ),
    (
        "Captain {f} sold them the dinghy for {n} pounds and a jar of pickled onions.",
        "buying the dinghy with pickled onions",
    ),
    (
        "They don't agree about mustard, maps, or mathematics, but they've agreed about each other.",
        "disagreeing about mustard and maps",
    ),
    (
        "Lift your glasses to {p} {f}, who made this dress out of her mother's curtains.",
        "the dress made of curtains",
    ),
    (
        "I wasn't going to speak today, but {p} has paid me with a basket of plums.",
        "paid in plums to give a speech",
    ),
    (
        "At midnight the ferryman will take the last guests over to {l}, so don't lose your raincoat.",
        "last guests over at midnight with the ferryman",
    ),
    (
        "Love is not a lantern you hang once | it is oil you carry up the stairs every evening.",
        "love is carrying oil up the stairs",
    ),
    (
        "Before we begin, I would like you to switch off your telephones and listen to the reeds.",
        "switch off phones and listen to the reeds",
    ),
    (
        "{p} repaired the clarinet with candle wax and played it at the harvest supper for {n} dancing farmers.",
        "mending a clarinet with wax for the harvest",
    ),
    (
        "The morning I met you I'd lost my spectacles, and I thought you were the postman.",
        "lost spectacles, thinking it was the postman",
    ),
    (
        "She writes the shopping list in verse, and he's never once bought the right cheese.",
        "shopping list written in verse",
    ),
    (
        "Little {t} will carry the ribbons, if somebody can find him, and {p} will carry {t}.",
        "who will carry the ribbons",
    ),
    (
        "I take you, {p}, with your cold feet, your collection of driftwood, and your terrible whistling.",
        "taking you with cold feet and terrible whistling",
    ),
    (
        "We are {n} people under one roof tonight, and there are {n} sausages, so please be generous.",
        "count of people and sausages, be generous",
    ),
];
