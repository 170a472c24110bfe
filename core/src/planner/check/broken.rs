/// An operation of a job, counted from 1.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
#[error("job '{job}' operation {operation}")]
pub struct Place {
    /// The job's id.
    pub job: String,
    /// Its position in the option, from 1.
    pub operation: usize,
}

/// A rule that a plan breaks; times in minutes, powder in grams.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(
    missing_docs,
    reason = "the message of each variant says what its fields are"
)]
pub enum Broken {
    #[error("job '{job}' is not in the problem")]
    UnknownJob { job: String },
    #[error("job '{job}' is planned twice")]
    PlannedTwice { job: String },
    #[error("job '{job}' has no option '{option}'")]
    UnknownOption { job: String, option: String },
    #[error("job '{job}' has {wanted} operations by its option, and {given} in the plan")]
    OperationCount {
        job: String,
        wanted: usize,
        given: usize,
    },
    #[error("job '{job}' is left out, and also planned")]
    LeftOutButPlanned { job: String },
    #[error("job '{job}' is left out twice")]
    LeftOutTwice { job: String },
    #[error("job '{job}' is neither planned nor left out")]
    Forgotten { job: String },
    #[error("job '{job}' is ready at {ready}, after the horizon at {horizon}")]
    NeverReady {
        job: String,
        ready: i64,
        horizon: i64,
    },
    #[error("{place}: minute {from} is not within 0 to the horizon, {horizon}")]
    OutsideHorizon {
        place: Place,
        from: i64,
        horizon: i64,
    },
    #[error("{place}: starts at {start}, and may not before {earliest}")]
    TooEarly {
        place: Place,
        start: i64,
        earliest: i64,
    },
    #[error("{place}: starts at {start}, and may not after {latest}")]
    TooLate {
        place: Place,
        start: i64,
        latest: i64,
    },
    #[error("{place}: starts at {start}, when nobody is on duty")]
    OffDuty { place: Place, start: i64 },
    #[error("crew: {needed} needed and {on_duty} on duty at minute {minute}")]
    Crew {
        minute: i64,
        needed: i64,
        on_duty: i64,
    },
    #[error("{place}: a step has no cell, set-up or lots")]
    StepSprays { place: Place },
    #[error("{place}: a stage says when its set-up begins ('setup_from')")]
    NoSetup { place: Place },
    #[error("{place}: set-up begins at {setup_from}, after the start at {start}")]
    SetupAfterStart {
        place: Place,
        setup_from: i64,
        start: i64,
    },
    #[error("{place}: may not be done in cell '{cell}'")]
    CellNotAllowed { place: Place, cell: String },
    #[error("{place}: set-up begins at {setup_from}, before the cell is free at {free}")]
    CellBusy {
        place: Place,
        setup_from: i64,
        free: i64,
    },
    #[error("{place}: needs {needed} min of set-up and has {given}")]
    SetupTooShort {
        place: Place,
        needed: i64,
        given: i64,
    },
    #[error("{place}: set-up and spraying, {from} to {to}, are not within one attended period")]
    SplitBySleep { place: Place, from: i64, to: i64 },
    #[error("{place}: cell '{cell}' is closed within {from} to {to}")]
    CellClosed {
        place: Place,
        cell: String,
        from: i64,
        to: i64,
    },
    #[error("station '{station}': {held} in {slots} slots at minute {minute}")]
    Station {
        station: String,
        minute: i64,
        held: i64,
        slots: i64,
    },
    #[error(
        "station '{station}': {batches} batches at minute {minute}, which differ in start, end or cycle; it holds one at a time"
    )]
    Batches {
        station: String,
        minute: i64,
        batches: usize,
    },
    #[error("limit '{limit}': {held} held of {capacity} at minute {minute}")]
    Limit {
        limit: String,
        minute: i64,
        held: i64,
        capacity: i64,
    },
    #[error("{place}: lots add up to {given} g of {wanted} g")]
    LotSum {
        place: Place,
        given: i64,
        wanted: i64,
    },
    #[error("{place}: takes {grams} g from lot '{lot}'; at least 1")]
    LotGrams {
        place: Place,
        lot: String,
        grams: i64,
    },
    #[error("{place}: comes from {lots} lots and must come from one")]
    NotOneLot { place: Place, lots: usize },
    #[error("{place}: lot '{lot}' is not of powder '{powder}'")]
    LotPowder {
        place: Place,
        lot: String,
        powder: String,
    },
    #[error("{place}: lot '{lot}' is usable from {from} until {until}, not from {start} to {end}")]
    LotTime {
        place: Place,
        lot: String,
        from: i64,
        until: i64,
        start: i64,
        end: i64,
    },
    #[error("lot '{lot}': {drawn} g drawn of {grams} g")]
    LotOverdrawn {
        lot: String,
        drawn: i128,
        grams: i64,
    },
    #[error("{place}: leaves {left} in store '{store}' and must leave {floor}")]
    Floor {
        place: Place,
        store: String,
        left: i64,
        floor: i64,
    },
    #[error("{place}: 'from' has {given} entries and must have {wanted}, one for each draw")]
    FromCount {
        place: Place,
        wanted: usize,
        given: usize,
    },
    #[error("{place}: 'from' names no store for draw {draw}, which has a choice")]
    FromMissing { place: Place, draw: usize },
    #[error(
        "{place}: 'from' names store '{store}' for draw {draw}, which has no choice; null there"
    )]
    FromWithoutChoice {
        place: Place,
        draw: usize,
        store: String,
    },
    #[error("{place}: draw {draw} may not be taken from store '{store}'")]
    FromNotAllowed {
        place: Place,
        draw: usize,
        store: String,
    },
    #[error("the plan states a loss of {stated}; it is {actual}")]
    Loss { stated: i64, actual: i64 },
    #[error("the plan states a lower bound of {bound}, above its loss of {actual}")]
    Bound { bound: i64, actual: i64 },
    #[error("the plan is called proven, and its loss of {actual} is not its bound ({bound:?})")]
    Proven { bound: Option<i64>, actual: i64 },
}
