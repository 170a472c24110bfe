-- The ground every other table stands on: the site, its people, their sessions, and the journal.
--
-- Conventions of all migrations: ids are UUIDv7 in a 16-byte blob, with a short number for people to
-- say aloud; times are whole milliseconds since 1970 in UTC; masses are whole milligrams; tables are
-- strict. A released migration is never edited.

-- One database holds one site: one cell and the machines around it.
create table site (
    id integer primary key check (id = 1),
    name text not null check (length(name) between 1 and 80),
    cell_name text not null check (length(cell_name) between 1 and 80),
    -- IANA name, as 'Pacific/Port_Moresby'; only what is shown is local, what is stored is UTC.
    zone text not null check (length(zone) between 1 and 64),
    -- Metres above the sea: thinner air means less from compressor and generator.
    altitude_m integer not null default 0 check (altitude_m between -500 and 6000),
    -- 1 for the invented site, on which anybody signs in as anybody: never to be mixed with a real one.
    demonstration integer not null default 0 check (demonstration in (0, 1))
) strict;

create table person (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number > 0),
    -- What is typed at sign-in and printed on records; capitals make no second person.
    name text not null unique collate nocase check (length(name) between 1 and 60),
    role text not null check (role in ('crew', 'checker', 'lead', 'storekeeper', 'viewer')),
    -- Argon2id in PHC form; null for those who sign in by the demonstration's buttons only.
    passphrase_hash text,
    -- 0 once a person has left: kept, because records name them, but unable to sign in.
    active integer not null default 1 check (active in (0, 1))
) strict;

-- Sessions are no records: they come and go without a journal entry.
create table session (
    -- SHA-256 of the cookie's value, so that a copied database opens no session.
    token_hash blob primary key check (length(token_hash) = 32),
    -- Null until somebody has signed in; repeats what data holds, to end a person's sessions at once.
    person_id blob references person (id) on delete cascade,
    data text not null check (json_valid(data)),
    created_at integer not null,
    -- Renewed at most every few minutes, so that reading pages seldom writes.
    seen_at integer not null,
    expires_at integer not null check (expires_at > created_at)
) strict, without rowid;

create index session_by_person on session (person_id);
create index session_by_expiry on session (expires_at);

-- Everything that changed, in order, each entry sealed by the hash of the one before it.
create table journal (
    -- The order of events. The clock is a claim, the sequence is the truth.
    sequence integer primary key check (sequence > 0),
    time integer not null,
    -- The person's id, or 'mendpost' for what the program did of its own.
    actor text not null check (length(actor) > 0),
    -- What happened, as 'person.added'.
    kind text not null check (length(kind) > 0),
    subject_kind text not null check (length(subject_kind) > 0),
    subject_id text not null check (length(subject_id) > 0),
    -- Canonical JSON (RFC 8785).
    content text not null check (json_valid(content)),
    previous_hash blob not null check (length(previous_hash) = 32),
    hash blob not null unique check (length(hash) = 32)
) strict;

create index journal_by_subject on journal (subject_kind, subject_id);

create trigger journal_gapless before insert on journal
when new.sequence <> (select coalesce(max(sequence), 0) + 1 from journal)
begin
    select raise(abort, 'the journal has no gaps');
end;

create trigger journal_kept before update on journal
begin
    select raise(abort, 'the journal is append-only');
end;

create trigger journal_whole before delete on journal
begin
    select raise(abort, 'the journal is append-only');
end;
