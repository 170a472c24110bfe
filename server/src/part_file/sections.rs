//! What is on record of a part, as tables: each with its columns, and with what is said where nothing is on record.

use serde_json::Value;
use sqlx::SqliteConnection;

use crate::db::decoded;
use crate::error::AppError;

/// One matter of a part file.
pub(super) struct Section {
    pub title: &'static str,
    pub columns: &'static [Column],
    pub rows: Vec<Vec<Value>>,
    /// What is said where there is no row.
    pub none: &'static str,
}

/// A column: its word, and what its values are.
pub(super) struct Column {
    pub word: &'static str,
    pub kind: Kind,
}

/// What the values of a column are, as they are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Words, or a number as it is.
    Plain,
    /// Milliseconds since 1970, UTC.
    Time,
    /// Milligrams.
    Mass,
    /// Nanometres.
    Length,
    /// 0 or 1.
    YesNo,
}

macro_rules! section {
    ($connection:ident, $number:ident, $title:literal, $none:literal, [$($word:literal $kind:ident),+ $(,)?], $sql:literal) => {{
        const COLUMNS: &[Column] = &[$(Column { word: $word, kind: Kind::$kind }),+];
        let rows: Vec<String> = sqlx::query_scalar!($sql, $number)
            .fetch_all(&mut *$connection)
            .await?;
        let rows = rows.iter().map(|row| decoded(serde_json::from_str(row)));
        Section {
            title: $title,
            columns: COLUMNS,
            rows: rows.collect::<Result<_, _>>()?,
            none: $none,
        }
    }};
}

/// Every matter, in the order in which a part comes about.
pub(super) async fn of(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Vec<Section>, AppError> {
    let mut all = asked(connection, number).await?;
    all.extend(built(connection, number).await?);
    all.extend(finished(connection, number).await?);
    all.extend(let_go(connection, number).await?);
    Ok(all)
}

/// What was asked, and who allowed it.
async fn asked(connection: &mut SqliteConnection, number: i64) -> Result<Vec<Section>, AppError> {
    Ok(vec![
        section!(
            connection,
            number,
            "Request",
            "No such request is on record.",
            [
                "Machine" Plain, "Part" Plain, "Damage" Plain, "In the words of who reported it" Plain,
                "Reported by" Plain, "Reported" Time, "Asked for by" Plain, "Tag" Plain, "Base metal" Plain
            ],
            r#"select json_array(a.name, r.part_name, r.damage, r.description, r.reported_by, r.reported_ms, r.asked_by,
                 r.tag, case when m.id is not null then m.name || case r.base_metal_known when 1 then '' else ', assumed' end end
               ) as "row!: String"
               from request r join asset a on a.id = r.asset_id left join metal m on m.id = r.base_metal_id
               where r.number = ?"#
        ),
        section!(
            connection,
            number,
            "Decisions",
            "Nothing was decided about the request yet.",
            ["Decision" Plain, "Why" Plain, "By" Plain, "When" Time, "Journal" Plain],
            r#"select json_array(d.decision, d.reason, d.decided_by, d.decided_ms, d.journal_sequence) as "row!: String"
               from request_decision d join request r on r.id = d.request_id
               where r.number = ? order by d.journal_sequence"#
        ),
        section!(
            connection,
            number,
            "Answers of those who must say yes",
            "Nobody was asked, or nobody has answered.",
            [
                "About" Plain, "Answer" Plain, "By" Plain, "As" Plain, "In their words" Plain, "Limits" Plain,
                "Came by" Plain, "Given" Time, "Until" Time, "Recorded by" Plain
            ],
            r#"select json_array(n.about, n.said, n.name, n.who, n.words, n.limits, n.came, n.given_ms, n.until_ms, n.typed_by)
                 as "row!: String"
               from answer n join request r on r.id = n.request_id
               where r.number = ? order by n.rowid"#
        ),
        section!(
            connection,
            number,
            "Recipe",
            "No operation of a recipe is done yet.",
            [
                "Recipe" Plain, "Revision" Plain, "State now" Plain, "Approved by" Plain, "Written by" Plain,
                "Basis" Plain, "Inspection" Plain
            ],
            r#"select distinct json_array(c.code, c.revision, c.state, c.approved_by, c.written_by, c.basis, c.inspection)
                 as "row!: String"
               from recipe c join work_done w on w.recipe_id = c.id join request r on r.id = w.request_id
               where r.number = ? order by 1"#
        ),
    ])
}

/// Work, builds and powder.
async fn built(connection: &mut SqliteConnection, number: i64) -> Result<Vec<Section>, AppError> {
    let work = section!(
        connection,
        number,
        "Work done",
        "No operation is done yet.",
        ["Place" Plain, "Operation" Plain, "Recipe" Plain, "Ended" Time, "By" Plain, "Note" Plain, "Journal" Plain],
        r#"select json_array(w.position, o.name, c.code || ' rev ' || c.revision, w.ended_ms, w.done_by, w.note,
             w.journal_sequence) as "row!: String"
           from work_done w
           join request r on r.id = w.request_id
           join recipe c on c.id = w.recipe_id
           join recipe_operation o on o.recipe_id = w.recipe_id and o.position = w.position
           where r.number = ? order by w.journal_sequence"#
    );
    let builds = section!(
        connection,
        number,
        "Builds",
        "Nothing was sprayed with a record of its own.",
        [
            "Build" Plain, "Operation" Plain, "Nozzle" Plain, "Gas from" Plain, "Begun" Time, "Ended" Time,
            "Outcome" Plain, "Part weighs more" Mass, "Coupons" Mass, "Fed" Mass, "Note" Plain, "By" Plain
        ],
        r#"select json_array(b.number, o.name, b.nozzle, coalesce(p.bank, 'compressor'), b.begun_ms, e.ended_ms, e.outcome,
             e.part_mg, e.coupon_mg, e.fed_mg, e.note, e.done_by) as "row!: String"
           from build b
           join request r on r.id = b.request_id
           join recipe_operation o on o.recipe_id = b.recipe_id and o.position = b.position
           left join build_plan p on p.build_id = b.id
           left join build_end e on e.build_id = b.id
           where r.number = ? order by b.number"#
    );
    let marks = section!(
        connection,
        number,
        "Course of the builds",
        "No start and no stop is on record.",
        ["Build" Plain, "What" Plain, "Cause" Plain, "Pass" Plain, "Note" Plain, "When" Time, "By" Plain],
        r#"select json_array(b.number, m.what, m.cause, m.pass, m.note, m.at_ms, m.done_by) as "row!: String"
           from build_mark m join build b on b.id = m.build_id join request r on r.id = b.request_id
           where r.number = ? order by m.journal_sequence"#
    );
    let readings = section!(
        connection,
        number,
        "Readings during the builds",
        "Nothing was read while it was sprayed.",
        ["Build" Plain, "What" Plain, "Value as stored" Plain, "Pass" Plain, "When" Time, "By" Plain],
        r#"select json_array(b.number, m.what, m.value, m.pass, m.at_ms, m.done_by) as "row!: String"
           from build_reading m join build b on b.id = m.build_id join request r on r.id = b.request_id
           where r.number = ? order by m.journal_sequence, m.what"#
    );
    let deviations = section!(
        connection,
        number,
        "Deviations",
        "None is on record.",
        ["Build" Plain, "What was otherwise" Plain, "When" Time, "By" Plain],
        r#"select json_array(b.number, d.words, d.at_ms, d.done_by) as "row!: String"
           from build_deviation d join build b on b.id = d.build_id join request r on r.id = b.request_id
           where r.number = ? order by d.journal_sequence"#
    );
    Ok(vec![
        work,
        builds,
        marks,
        readings,
        deviations,
        powder(connection, number).await?,
        moved(connection, number).await?,
    ])
}

async fn powder(connection: &mut SqliteConnection, number: i64) -> Result<Section, AppError> {
    Ok(section!(
        connection,
        number,
        "Powder in it",
        "No powder is traced to it.",
        [
            "Build" Plain, "Lot" Plain, "Powder" Plain, "Maker’s lot" Plain, "State now" Plain, "Use by" Time,
            "To" Plain, "Mass" Mass
        ],
        r#"select json_array(b.number, l.code, p.name, l.maker_lot, l.state, l.use_by_ms, t.kind, sum(m.milligrams))
             as "row!: String"
           from build b
           join request r on r.id = b.request_id
           join place t on t.build_id = b.id
           join movement m on m.to_id = t.id
           join lot l on l.id = m.lot_id
           join powder p on p.id = l.powder_id
           where r.number = ? and not exists (select 1 from movement x where x.corrects_id = m.id)
           group by b.number, l.code, t.kind
           order by b.number, l.code, t.kind"#
    ))
}

/// What the book has between the last empty feeder before a build's begin and its end: all that was drawn for it.
async fn moved(connection: &mut SqliteConnection, number: i64) -> Result<Section, AppError> {
    Ok(section!(
        connection,
        number,
        "Powder drawn and returned for its builds",
        "Nothing moved through the feeder for it.",
        [
            "Build" Plain, "Lot" Plain, "Reason" Plain, "From" Plain, "To" Plain, "Mass" Mass, "When" Time,
            "Taken back" YesNo, "Journal" Plain
        ],
        r#"select json_array(b.number, m.lot, m.reason, coalesce(m.from_container, m.from_kind),
             coalesce(m.to_container, m.to_kind), m.milligrams, m.at_ms, m.taken_back, m.journal_sequence)
             as "row!: String"
           from build b
           join request r on r.id = b.request_id
           left join build_end e on e.build_id = b.id
           join movement_line m on m.journal_sequence between
             coalesce((select max(f.journal_sequence) + 1 from feeder_emptied f
               where f.journal_sequence < b.journal_sequence), 1)
             and coalesce(e.journal_sequence, 9223372036854775807)
           where r.number = ? and 'feeder' in (m.from_kind, m.to_kind)
             and coalesce(m.to_build, m.from_build, b.number) = b.number
           order by b.number, m.journal_sequence, m.place_in_book"#
    ))
}

/// What was done and found after spraying.
async fn finished(
    connection: &mut SqliteConnection,
    number: i64,
) -> Result<Vec<Section>, AppError> {
    let loads = section!(
        connection,
        number,
        "Furnace loads",
        "It was in no furnace load.",
        [
            "Load" Plain, "Furnace" Plain, "Cycle" Plain, "Set °C" Plain, "Found °C" Plain, "Soak from" Time,
            "Soak to" Time, "Chart" Plain, "Operator" Plain, "Note" Plain, "Closed by" Plain
        ],
        r#"select json_array('F' || l.number, s.name, l.cycle, l.set_c, c.actual_c, c.soak_from_ms, c.soak_to_ms, c.chart,
             c.operator, c.note, c.closed_by) as "row!: String"
           from furnace_part f
           join request r on r.id = f.request_id
           join furnace_load l on l.number = f.load_number
           join station s on s.id = l.station_id
           left join furnace_closed c on c.load_number = l.number
           where r.number = ? order by l.number"#
    );
    let excursions = section!(
        connection,
        number,
        "Furnace excursions",
        "None is on record.",
        ["Load" Plain, "What went wrong" Plain, "When" Time, "Told by" Plain],
        r#"select json_array('F' || x.load_number, x.what, x.at_ms, x.told_by) as "row!: String"
           from furnace_excursion x join furnace_part f on f.load_number = x.load_number
           join request r on r.id = f.request_id
           where r.number = ? order by x.journal_sequence"#
    );
    let sizes = section!(
        connection,
        number,
        "Sizes",
        "Nothing was measured.",
        [
            "Dimension" Plain, "Found" Length, "At least" Length, "At most" Length, "Within" YesNo, "Tool" Plain,
            "Calibrated to" Time, "Measured" Time, "By" Plain, "Journal" Plain
        ],
        r#"select json_array(s.name, f.found_nm, s.lower_nm, s.upper_nm,
             f.found_nm between s.lower_nm and s.upper_nm, t.code || ' ' || t.name,
             (select max(k.due_ms) from tool_calibration k where k.tool_id = t.id and k.calibrated_ms <= w.ended_ms),
             w.ended_ms, w.done_by, f.journal_sequence) as "row!: String"
           from size_found f
           join work_done w on w.journal_sequence = f.journal_sequence
           join request r on r.id = w.request_id
           join recipe_size s on s.recipe_id = f.recipe_id and s.position = f.position
           join tool t on t.id = f.tool_id
           where r.number = ? order by f.journal_sequence, f.position"#
    );
    let cracks = section!(
        connection,
        number,
        "Looks for cracks",
        "Nobody has looked for cracks.",
        ["When" Time, "At" Plain, "How" Plain, "With" Plain, "Cracks found" YesNo, "What was seen" Plain, "By" Plain],
        r#"select json_array(k.looked_ms, k.at, k.method, k.agent, k.found, k.words, k.looked_by) as "row!: String"
           from crack_check k join request r on r.id = k.request_id
           where r.number = ? order by k.journal_sequence"#
    );
    let coupons = section!(
        connection,
        number,
        "Coupons",
        "No coupon is on record.",
        [
            "Coupon" Plain, "Marked" Plain, "Build" Plain, "Property" Plain, "Condition" Plain,
            "Thousandths of its unit" Plain, "Load gf" Plain, "Tool" Plain, "Laboratory" Plain, "Tested" Time, "By" Plain
        ],
        r#"select json_array(k.number, k.label, k.build_number, c.property, c.condition, c.figure, c.load_gf, t.code,
             c.laboratory, c.tested_ms, c.tested_by) as "row!: String"
           from coupon k
           join request r on r.id = k.request_id
           left join coupon_result c on c.coupon_number = k.number
           left join tool t on t.id = c.tool_id
           where r.number = ? order by k.number, c.journal_sequence"#
    );
    Ok(vec![loads, excursions, sizes, cracks, coupons])
}

/// What held it, and how it was let go.
async fn let_go(connection: &mut SqliteConnection, number: i64) -> Result<Vec<Section>, AppError> {
    let holds = section!(
        connection,
        number,
        "Holds",
        "It was never on hold.",
        [
            "Hold" Plain, "For" Plain, "What was found" Plain, "Held by" Plain, "Held" Time, "Judged" Plain,
            "Said by" Plain, "Came by" Plain, "Why" Plain, "Recorded by" Plain, "Judged on" Time
        ],
        r#"select json_array(h.number, h.cause, h.what, h.held_by, h.held_ms, coalesce(j.verdict, 'NOT JUDGED'), j.said_by,
             j.came, j.reason, j.judged_by, j.judged_ms) as "row!: String"
           from part_hold h
           join request r on r.id = h.request_id
           left join part_judged j on j.number = h.number
           where r.number = ? order by h.number"#
    );
    let waivers = section!(
        connection,
        number,
        "Containers drawn all the same",
        "None was drawn from in spite of a doubt.",
        ["Container" Plain, "What was signed" Plain, "By" Plain, "As" Plain, "When" Time, "Journal" Plain],
        r#"select distinct json_array(s.subject_id, s.statement, s.printed_name, s.role, s.signed_ms, s.journal_sequence)
             as "row!: String"
           from signature s
           join container c on c.code = s.subject_id
           join movement d on d.from_id = c.id and d.reason = 'draw'
           join build b
           join request r on r.id = b.request_id
           left join build_end e on e.build_id = b.id
           where r.number = ? and s.meaning = 'waive' and s.subject_kind = 'container'
             and s.journal_sequence < d.journal_sequence
             and d.journal_sequence between
               coalesce((select max(f.journal_sequence) + 1 from feeder_emptied f
                 where f.journal_sequence < b.journal_sequence), 1)
               and coalesce(e.journal_sequence, 9223372036854775807)
           order by 1"#
    );
    let interim = section!(
        connection,
        number,
        "Interim parts",
        "It is no interim part.",
        [
            "Interim part" Plain, "Where" Plain, "Out since" Time, "Off by" Time, "Most minutes" Plain, "Owner" Plain,
            "How it comes off" Plain
        ],
        r#"select json_array('I' || i.number, i.place, i.since_ms, i.off_by_ms, i.most_min, i.owner, i.removal_plan)
             as "row!: String"
           from interim_part i join request r on r.id = i.request_id
           where r.number = ? order by i.number"#
    );
    let signatures = section!(
        connection,
        number,
        "Signatures",
        "Nobody has signed anything of it.",
        ["Signed by" Plain, "As" Plain, "What was signed" Plain, "About" Plain, "How" Plain, "When" Time, "Journal" Plain],
        r#"select json_array(s.printed_name, s.role, s.statement, s.subject_kind || ' ' || s.subject_id, s.how, s.signed_ms,
             s.journal_sequence) as "row!: String"
           from signature s
           where (s.subject_kind, s.subject_id) in (
             select 'request', 'R' || ?1
             union
             select 'recipe', c.code || '/' || c.revision from work_done w join request r on r.id = w.request_id
             join recipe c on c.id = w.recipe_id where r.number = ?1
             union
             select 'lot', l.code from build b join request r on r.id = b.request_id
             join movement m on m.to_id = b.id join lot l on l.id = m.lot_id where r.number = ?1
           )
           order by s.journal_sequence, s.rowid"#
    );
    Ok(vec![holds, waivers, interim, signatures])
}
