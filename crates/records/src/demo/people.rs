//! Invented sites, people and remarks.

/// Sites; all invented.
pub(super) const SITES: [&str; 18] = [
    "Marigold Lane",
    "Tansy Yard",
    "Sorrel Bank",
    "Damson Court",
    "Quince Hall",
    "Barley Loft",
    "Teasel Works",
    "Fennel Wharf",
    "Yarrow Mill",
    "Medlar House",
    "Bilberry Gate",
    "Woodruff Store",
    "Chervil Lane",
    "Burdock Hill",
    "Cicely Barn",
    "Lovage Dock",
    "Ramson Cross",
    "Hollin Row",
];

/// Whom to ask at a site; all invented.
pub(super) const CONTACTS: [&str; 9] = [
    "shift desk, extension 14",
    "Mrs Oatley, preparation room",
    "Mr Sedge, workshop",
    "Ms Burnet, packing hall",
    "Mr Campion, day shift",
    "kitchen office",
    "Ms Vetch, maintenance",
    "porter's lodge",
    "Mr Figwort, night shift",
];

/// Who confirmed a finding; all invented.
pub(super) const TECHNICIANS: [&str; 5] = ["R. Teasel", "M. Dock", "T. Clover", "K. Bracken", "S. Mallow"];

/// Remarks about a machine.
pub(super) const REMARKS: [&str; 6] = [
    "Stands close to the steam kettle.",
    "Moved from the old hall; feet were set anew.",
    "The spare fuses are in the cabinet door.",
    "Cleaned with the hose every evening.",
    "Ask for the key of the cabinet at the office.",
    "Runs small batches, changed over often.",
];

/// What callers say, by the complaint.
pub(super) const WONT_START: [&str; 5] = [
    "it won't start",
    "nothing happens when I press start",
    "does not start since the break",
    "won't start this morning",
    "cannot start",
];
/// See [`WONT_START`].
pub(super) const STOPS_MIDWAY: [&str; 5] =
    ["it stops midway", "got stuck in the middle", "stands still in the middle of a run", "stops halfway", "it hangs"];
/// See [`WONT_START`].
pub(super) const WONT_FINISH: [&str; 3] = ["it does not finish", "never finishes", "stops just before the end"];
/// See [`WONT_START`].
pub(super) const WRONG_RESULT: [&str; 3] = ["the result is wrong", "comes out wrong", "the work is not right"];

/// What it was where the machine file does not know it.
pub(super) const NOT_IN_FILE: [&str; 6] = [
    "A wasp's nest in the cabinet fan; the controller had switched off from heat.",
    "A label had got under the guide rail.",
    "Water in the cable duct from the roof.",
    "The floor had sunk; the frame stood askew.",
    "A program of another machine had been loaded.",
    "A rag in the drain of the hall; nothing was wrong with the machine.",
];
