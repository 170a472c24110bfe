-- What was answered to a form that changed something, so that the same form sent again (a double tap,
-- an answer lost on its way) is one change and gets the same answer. No record: kept for a week.
create table answered (
    person_id blob not null references person (id),
    -- The form's own number, made when its page was.
    key text not null check (length(key) between 16 and 100),
    -- SHA-256 over address and fields, without those that hold a secret.
    fingerprint blob not null check (length(fingerprint) = 32),
    -- Where the answer led, and what it said.
    location text not null check (length(location) between 1 and 1000),
    notice text not null check (json_valid(notice)),
    journal_sequence integer not null references journal (sequence),
    answered_ms integer not null,
    primary key (person_id, key)
) strict, without rowid;
create index answered_by_time on answered (answered_ms);
