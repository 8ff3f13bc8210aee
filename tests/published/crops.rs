//! What other people say about crops and cold, as they printed it. Nothing here comes from the catalogue.
//!
//! A row is crop, stage, organ, the warm and the cold end of what the source says, and, only where the catalogue
//! departs on purpose, the reason. A reason on a row that agrees is a fault too: it has outlived its departure.

use counterpane::crops::Organ::{self, *};

pub type Row = (&'static str, &'static str, Organ, &'static str, &'static str, &'static str);

/// Which of the two thresholds a source speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    Begins,
    Severe,
}

/// How hardened the plants of a source were.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    Unhardened,
    Hardened,
    /// Not said: some degree of hardening must reach the band.
    NotSaid,
}

pub struct List {
    pub source: &'static str,
    pub figure: Figure,
    pub state: State,
    pub rows: &'static [Row],
}

const AGREES: &str = "";

/// Relative frost resistance of temperate crop species, Table 2 of a review, PubMed Central PMC10202904: damaging bands.
/// Winter kinds stand apart, below.
const PMC_T2: &[Row] = &[
    ("tomato", "leafy", Leaf, "5C", "0C", AGREES),
    ("cucumber", "leafy", Leaf, "5C", "0C", AGREES),
    ("potato", "leafy", Leaf, "0C", "-2C", AGREES),
    ("snap_bean", "leafy", Leaf, "0C", "-2C", AGREES),
    ("sweet_corn", "leafy", Leaf, "0C", "-2C", AGREES),
    ("melon", "leafy", Leaf, "0C", "-2C", AGREES),
    ("blueberry", "flowering", Flower, "-2C", "-4C", AGREES),
    (
        "strawberry",
        "flowering",
        Flower,
        "-2C",
        "-4C",
        "DIFFERS: 73 % of iced blossoms were hurt at -1.5 C (WSU_STRAW_1994), and extension services begin at 30 F",
    ),
    ("cauliflower", "heading", Curd, "-2C", "-4C", AGREES),
    ("broccoli", "heading", Head, "-2C", "-4C", AGREES),
    ("asparagus", "sprouting", Leaf, "-2C", "-4C", AGREES),
    ("pea", "seedling", Leaf, "-2C", "-4C", AGREES),
    ("pea", "leafy", Leaf, "-2C", "-4C", AGREES),
    ("lettuce_leaf", "leafy", Leaf, "-2C", "-4C", AGREES),
    ("lettuce_romaine", "leafy", Leaf, "-2C", "-4C", AGREES),
    ("lettuce_crisphead", "leafy", Leaf, "-2C", "-4C", AGREES),
    ("cauliflower", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("broccoli", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("kale", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("cabbage", "leafy", Leaf, "-4C", "-7C", AGREES),
    (
        "beet",
        "leafy",
        Leaf,
        "-4C",
        "-7C",
        "DIFFERS: K-State sees damage in the mid to upper 20s F; a hardened plant lies in the band",
    ),
    ("onion", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("shallot", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("rutabaga", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("carrot", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("parsnip", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("savoy_cabbage", "heading", Head, "-7C", "-10C", AGREES),
];

/// The same table: kinds grown through the winter.
const PMC_T2_WINTER: &[Row] = &[
    ("lettuce_leaf", "leafy", Leaf, "-4C", "-7C", AGREES),
    ("spinach", "leafy", Leaf, "-7C", "-10C", AGREES),
    (
        "fava_bean",
        "leafy",
        Leaf,
        "-7C",
        "-10C",
        "DIFFERS: spring kinds are catalogued, a tenth of a degree short of it",
    ),
];

/// W. Upham, Hardiness of cool-season vegetables, K-State Research and Extension: "mid to upper 20s F" (24 to 29 F) and
/// "low 20s F" (20 to 23 F) damage.
const KSU_UPHAM: &[Row] = &[
    ("beet", "leafy", Leaf, "29F", "24F", AGREES),
    ("chinese_cabbage", "heading", Head, "29F", "24F", AGREES),
    ("collards", "leafy", Leaf, "29F", "24F", AGREES),
    (
        "potato",
        "leafy",
        Leaf,
        "29F",
        "24F",
        "DIFFERS: half of the tenderest of 65 lines die at -1.0 C of tissue (POTATO_CN_2016)",
    ),
    ("lettuce_leaf", "leafy", Leaf, "29F", "24F", AGREES),
    ("mustard_greens", "leafy", Leaf, "29F", "24F", AGREES),
    ("radish", "leafy", Leaf, "29F", "24F", AGREES),
    ("spinach", "leafy", Leaf, "29F", "24F", AGREES),
    ("swiss_chard", "leafy", Leaf, "29F", "24F", AGREES),
    ("cabbage", "leafy", Leaf, "23F", "20F", AGREES),
    ("broccoli", "leafy", Leaf, "23F", "20F", AGREES),
    ("cauliflower", "leafy", Leaf, "23F", "20F", AGREES),
    ("brussels_sprouts", "leafy", Leaf, "23F", "20F", AGREES),
    ("carrot", "leafy", Leaf, "23F", "20F", AGREES),
    ("turnip", "leafy", Leaf, "23F", "20F", AGREES),
    ("kale", "leafy", Leaf, "23F", "20F", AGREES),
];

/// D. Gill, Cold protection for winter vegetables, LSU AgCenter (read in a reprint): protect or harvest below the mid to
/// upper 20s F; little or no damage at mid to low 20s F, so first harm there or below.
const LSU_VEG: &[Row] = &[
    ("fava_bean", "leafy", Leaf, "29F", "24F", AGREES),
    ("broccoli", "heading", Head, "29F", "24F", AGREES),
    ("cauliflower", "heading", Curd, "29F", "24F", AGREES),
    ("lettuce_leaf", "leafy", Leaf, "29F", "24F", AGREES),
    ("pea", "leafy", Leaf, "29F", "24F", AGREES),
    ("pea", "podding", Pod, "29F", "24F", AGREES),
    ("swiss_chard", "leafy", Leaf, "26F", "20F", AGREES),
    ("chinese_cabbage", "heading", Head, "26F", "20F", AGREES),
    ("kohlrabi", "leafy", Leaf, "26F", "20F", AGREES),
    ("mustard_greens", "leafy", Leaf, "26F", "20F", AGREES),
    ("spinach", "leafy", Leaf, "26F", "20F", AGREES),
    ("radish", "leafy", Leaf, "26F", "20F", "DIFFERS: K-State's mid to upper 20s F was kept, the cautious side"),
    ("turnip", "leafy", Leaf, "26F", "20F", AGREES),
];

/// The same page: what survives the low 20s F and the teens, so heavy loss is colder than 19 F in a hardened plant.
const LSU_VEG_SURVIVES: &[Row] = &[
    ("beet", "leafy", Leaf, "19F", "-40F", AGREES),
    ("brussels_sprouts", "leafy", Leaf, "19F", "-40F", AGREES),
    ("carrot", "leafy", Leaf, "19F", "-40F", AGREES),
    (
        "celery",
        "leafy",
        Leaf,
        "19F",
        "-40F",
        "DIFFERS: celery freezes at -0.5 C and recovers from one or two light freezes only (ASHRAE_2006, FAO_2005)",
    ),
    ("collards", "leafy", Leaf, "19F", "-40F", AGREES),
    ("garlic", "leafy", Leaf, "19F", "-40F", AGREES),
    ("onion", "leafy", Leaf, "19F", "-40F", AGREES),
    ("parsley", "leafy", Leaf, "19F", "-40F", AGREES),
    ("leek", "bulbing", Bulb, "19F", "-40F", AGREES),
    ("shallot", "leafy", Leaf, "19F", "-40F", AGREES),
];

/// R. Gates quoting Texas AgriLife Extension, Courier-Journal, 20 November 2015: 31 to 33 F kills; 26 to 31 F may burn
/// the leaves without killing.
const TAMU_2015: &[Row] = &[
    ("snap_bean", "leafy", Leaf, "33F", "31F", AGREES),
    ("melon", "leafy", Leaf, "33F", "31F", AGREES),
    ("sweet_corn", "leafy", Leaf, "33F", "31F", AGREES),
    ("cucumber", "leafy", Leaf, "33F", "31F", AGREES),
    ("eggplant", "leafy", Leaf, "33F", "31F", AGREES),
    (
        "okra",
        "leafy",
        Leaf,
        "33F",
        "31F",
        "DIFFERS: growers' lists lose it above freezing; heavy loss lies in the band",
    ),
    ("pepper", "leafy", Leaf, "33F", "31F", AGREES),
    (
        "potato",
        "leafy",
        Leaf,
        "33F",
        "31F",
        "DIFFERS: laboratory figure, compared with the tissue and not with the air",
    ),
    (
        "sweet_potato",
        "leafy",
        Leaf,
        "33F",
        "31F",
        "DIFFERS: growers' lists lose it above freezing, on the cautious side",
    ),
    ("summer_squash", "leafy", Leaf, "33F", "31F", AGREES),
    ("winter_squash", "leafy", Leaf, "33F", "31F", AGREES),
    ("tomato", "leafy", Leaf, "33F", "31F", AGREES),
    ("broccoli", "transplant", Leaf, "31F", "26F", AGREES),
    ("cabbage", "transplant", Leaf, "31F", "26F", AGREES),
    ("cauliflower", "transplant", Leaf, "31F", "26F", AGREES),
    ("broccoli", "leafy", Leaf, "31F", "26F", "DIFFERS: burnt tips are no harm yet; published band of -4 to -7 C kept"),
    ("cabbage", "leafy", Leaf, "31F", "26F", "DIFFERS: burnt tips are no harm yet; published band of -4 to -7 C kept"),
    (
        "cauliflower",
        "leafy",
        Leaf,
        "31F",
        "26F",
        "DIFFERS: burnt tips are no harm yet; published band of -4 to -7 C kept",
    ),
    ("onion", "leafy", Leaf, "31F", "26F", "DIFFERS: burnt tips grow again; published band of -4 to -7 C kept"),
    ("swiss_chard", "leafy", Leaf, "31F", "26F", AGREES),
    ("lettuce_leaf", "leafy", Leaf, "31F", "26F", AGREES),
    ("mustard_greens", "leafy", Leaf, "31F", "26F", AGREES),
    ("radish", "leafy", Leaf, "31F", "26F", AGREES),
    ("turnip", "seedling", Leaf, "31F", "26F", AGREES),
    ("turnip", "leafy", Leaf, "31F", "26F", "DIFFERS: Louisiana sees little damage down to the mid 20s F"),
];

/// The same article: a brief spell below 20 F is tolerated.
const TAMU_2015_TOLERATED: &[Row] = &[
    ("beet", "leafy", Leaf, "20F", "-40F", AGREES),
    ("brussels_sprouts", "heading", Head, "20F", "-40F", AGREES),
    ("carrot", "leafy", Leaf, "20F", "-40F", AGREES),
    ("collards", "leafy", Leaf, "20F", "-40F", AGREES),
    ("kale", "leafy", Leaf, "20F", "-40F", AGREES),
    ("parsley", "leafy", Leaf, "20F", "-40F", AGREES),
    ("spinach", "leafy", Leaf, "20F", "-40F", AGREES),
];

/// P. Dawling and K. Bezilla, Winter-kill temperatures of vegetables, central Virginia (2012-2020): killing temperatures
/// in whole degrees Celsius, so half a degree to each side.
const DAWLING_BEZILLA: &[Row] = &[
    ("basil", "leafy", Leaf, "2.5C", "1.5C", "DIFFERS: taken as first harm; a leaf freezes in air of 35 F, not all do"),
    ("cauliflower", "heading", Curd, "0.5C", "-0.5C", "DIFFERS: the published band is -2 to -4 C"),
    ("cabbage", "heading", Head, "-2.5C", "-3.5C", "DIFFERS: a trial to -4.4 C did no damage (FURRY_1977); many kinds"),
    ("broccoli", "heading", Head, "-3.5C", "-4.5C", AGREES),
    ("chinese_cabbage", "heading", Head, "-3.5C", "-4.5C", AGREES),
    ("dill", "leafy", Leaf, "-3.5C", "-4.5C", AGREES),
    ("endive", "heading", Head, "-3.5C", "-4.5C", AGREES),
    ("fava_bean", "leafy", Leaf, "-3.5C", "-4.5C", "DIFFERS: some kinds only; taken as first harm"),
    ("florence_fennel", "bulbing", Bulb, "-3.5C", "-4.5C", AGREES),
    ("mustard_greens", "leafy", Leaf, "-3.5C", "-4.5C", "DIFFERS: some kinds only; Louisiana sees little down to 20 F"),
    ("pak_choi", "leafy", Leaf, "-3.5C", "-4.5C", AGREES),
    ("green_onion", "leafy", Leaf, "-3.5C", "-4.5C", "DIFFERS: some kinds are hardier, and the inside stays sound"),
    ("radicchio", "heading", Head, "-3.5C", "-4.5C", AGREES),
    ("arugula", "leafy", Leaf, "-5.5C", "-6.5C", AGREES),
    ("swiss_chard", "leafy", Leaf, "-5.5C", "-6.5C", AGREES),
    ("lettuce_leaf", "leafy", Leaf, "-5.5C", "-6.5C", AGREES),
    ("beet", "leafy", Leaf, "-6.5C", "-7.5C", AGREES),
    ("cabbage", "heading", Head, "-6.5C", "-7.5C", AGREES),
];

/// The same posts: alive, and dead, at -10 C in that garden in winter.
const DAWLING_BEZILLA_WINTER: &[Row] = &[
    ("garlic", "leafy", Leaf, "-10C", "-40C", AGREES),
    ("kale", "leafy", Leaf, "-10C", "-40C", AGREES),
    ("savoy_cabbage", "heading", Head, "-10C", "-40C", AGREES),
    ("broccoli", "leafy", Leaf, "0C", "-10C", AGREES),
    ("swiss_chard", "leafy", Leaf, "0C", "-10C", AGREES),
];

/// K. Bezilla, Fall and winter vegetable gardening quick reference, zone 7a, Southern Exposure Seed Exchange, as far as
/// kohlrabi: whole degrees Fahrenheit at which unprotected crops are lost, so one degree to each side. Its beet roots
/// (20 F of air) cannot be compared: the catalogue has them by soil.
const BEZILLA_REF: &[Row] = &[
    ("cauliflower", "heading", Curd, "33F", "31F", "DIFFERS: the published band is -2 to -4 C"),
    ("broccoli", "heading", Head, "29F", "27F", "DIFFERS: taken as first harm; another list of the author has 25 F"),
    ("chinese_cabbage", "heading", Head, "26F", "24F", AGREES),
    ("endive", "heading", Head, "26F", "24F", AGREES),
    ("cabbage", "heading", Head, "25F", "20F", AGREES),
    ("arugula", "leafy", Leaf, "23F", "21F", AGREES),
    ("beet", "leafy", Leaf, "17F", "15F", AGREES),
    ("broccoli", "leafy", Leaf, "16F", "14F", AGREES),
    ("cauliflower", "leafy", Leaf, "16F", "14F", AGREES),
    ("kale", "leafy", Leaf, "16F", "12F", AGREES),
    ("carrot", "leafy", Leaf, "13F", "11F", AGREES),
    ("collards", "leafy", Leaf, "13F", "11F", AGREES),
    ("garlic", "leafy", Leaf, "6F", "4F", AGREES),
];

/// P. Smith, Spinach, Clemson Cooperative Extension: 20 F without injury.
const CLEMSON_SPINACH: &[Row] = &[("spinach", "leafy", Leaf, "20F", "-40F", AGREES)];

pub const LISTS: &[List] = &[
    List { source: "PMC_T2", figure: Figure::Begins, state: State::Unhardened, rows: PMC_T2 },
    List { source: "PMC_T2, winter kinds", figure: Figure::Begins, state: State::Hardened, rows: PMC_T2_WINTER },
    List { source: "KSU_UPHAM", figure: Figure::Begins, state: State::NotSaid, rows: KSU_UPHAM },
    List { source: "LSU_VEG", figure: Figure::Begins, state: State::NotSaid, rows: LSU_VEG },
    List { source: "LSU_VEG, survivors", figure: Figure::Severe, state: State::Hardened, rows: LSU_VEG_SURVIVES },
    List { source: "TAMU_2015", figure: Figure::Begins, state: State::NotSaid, rows: TAMU_2015 },
    List { source: "TAMU_2015, tolerated", figure: Figure::Severe, state: State::Hardened, rows: TAMU_2015_TOLERATED },
    List { source: "DAWLING_BEZILLA", figure: Figure::Severe, state: State::NotSaid, rows: DAWLING_BEZILLA },
    List {
        source: "DAWLING_BEZILLA, -10 C",
        figure: Figure::Severe,
        state: State::Hardened,
        rows: DAWLING_BEZILLA_WINTER,
    },
    List { source: "BEZILLA_REF", figure: Figure::Severe, state: State::NotSaid, rows: BEZILLA_REF },
    List { source: "CLEMSON_SPINACH", figure: Figure::Begins, state: State::Hardened, rows: CLEMSON_SPINACH },
];

/// R. L. Snyder and J. P. de Melo-Abreu, Frost protection, vol. 1, FAO 2005, Table 4.1 (read in a copy): produce hurt by
/// one light freeze, produce that recovers from one or two, produce that recovers from several. No temperatures. Roots
/// are left out: the catalogue compares them with the soil.
pub const FAO_2005_TABLE_4_1: [&[(&str, Organ)]; 3] = [
    &[
        ("asparagus", Leaf),
        ("snap_bean", Leaf),
        ("cucumber", Leaf),
        ("eggplant", Leaf),
        ("lemon", Fruit),
        ("lettuce_leaf", Leaf),
        ("okra", Leaf),
        ("pepper", Leaf),
        ("summer_squash", Leaf),
        ("sweet_potato", Leaf),
        ("tomato", Fruit),
        ("strawberry", Fruit),
    ],
    &[
        ("broccoli", Head),
        ("cauliflower", Curd),
        ("celery", Leaf),
        ("grapefruit", Fruit),
        ("orange", Fruit),
        ("onion", Bulb),
        ("parsley", Leaf),
        ("pea", Pod),
        ("spinach", Leaf),
        ("winter_squash", Fruit),
    ],
    &[("brussels_sprouts", Head), ("cabbage", Head), ("savoy_cabbage", Head), ("kale", Leaf), ("kohlrabi", Bulb)],
];

/// Highest freezing points, C. ASHRAE, Refrigeration Handbook 2006, ch. 9 Table 3, and copies of USDA Handbook 66;
/// tomato: L. P. McColloch 1960, USDA MRR 423. Those marked so are from memory of Handbook 66 and want looking up.
/// Citrus shoots stand beside orange fruit, cabbage plants beside the head: the nearest tissue in the tables.
pub const FREEZING_POINTS: &[(&str, Organ, f64)] = &[
    ("artichoke", Flower, -1.2),
    ("asparagus", Leaf, -0.6),
    ("beet", Leaf, -0.4),
    ("beet", Root, -1.1),
    ("cabbage", Leaf, -0.9),
    ("savoy_cabbage", Leaf, -0.9),
    ("carrot", Root, -1.4),
    ("lemon", Leaf, -0.8),
    ("orange", Leaf, -0.8),
    ("mandarin", Leaf, -0.8),
    ("grapefruit", Leaf, -0.8),
    ("strawberry", Fruit, -0.8),
    ("tomato", Fruit, -0.8),
    ("onion", Bulb, -0.9),    // from memory
    ("shallot", Bulb, -0.9),  // from memory, the same species
    ("potato", Tuber, -0.6),  // from memory
    ("radish", Root, -0.7),   // from memory
    ("rutabaga", Root, -1.1), // from memory
    ("turnip", Root, -1.1),   // from memory
];
