-- One-time codes, what a device says of itself, and versions of rows that two tablets may have open.

-- Codes by which a person gets in without a passphrase. What is made void is deleted; the journal
-- keeps that there was one.
create table one_time_code (
    -- SHA-256 suffices for a secret of more than 112 random bits.
    hash blob primary key check (length(hash) = 32),
    person_id blob not null references person (id) on delete cascade,
    kind text not null check (kind in ('start', 'recovery')),
    made_at integer not null,
    -- A start code lapses; recovery codes wait in their envelope.
    expires_at integer check (expires_at > made_at),
    used_at integer check (used_at >= made_at),
    check ((kind = 'start') = (expires_at is not null))
) strict, without rowid;

create index one_time_code_by_person on one_time_code (person_id);

-- What the browser calls itself; repeats what data holds, to show a person's sessions.
alter table session add column user_agent text not null default '' check (length(user_agent) <= 200);

-- Raised by each write of what a form edits, so that a form opened before it is noticed.
alter table person add column version integer not null default 1 check (version > 0);
alter table site add column version integer not null default 1 check (version > 0);
