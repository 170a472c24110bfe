-- Signatures: who said what, when. One table for every act that is signed.

-- What more than one must sign, from the first signature to the last.
create table signing (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    meaning text not null check (length(meaning) between 1 and 40),
    subject_kind text not null check (length(subject_kind) > 0),
    subject_id text not null check (length(subject_id) > 0),
    -- What is done once all have signed; what was signed is what is done.
    content text not null check (json_valid(content)),
    state text not null check (state in ('open', 'done', 'withdrawn'))
) strict;
create trigger signing_stays before update on signing
when new.id <> old.id or new.number <> old.number or new.meaning <> old.meaning
    or new.subject_kind <> old.subject_kind or new.subject_id <> old.subject_id
    or new.content <> old.content or old.state <> 'open'
begin
    select raise(abort, 'what was signed is not changed; withdraw it and sign anew');
end;
create trigger signing_kept before delete on signing
begin
    select raise(abort, 'what was signed is not deleted; withdraw it');
end;

create table signature (
    id blob primary key check (length(id) = 16),
    -- Null where one signature is enough.
    signing_id blob references signing (id),
    meaning text not null check (length(meaning) between 1 and 40),
    -- The words that were signed, as they stood then.
    statement text not null check (length(statement) between 1 and 400),
    subject_kind text not null check (length(subject_kind) > 0),
    subject_id text not null check (length(subject_id) > 0),
    person_id blob not null references person (id),
    -- Name and role as they were then: what is printed.
    printed_name text not null check (length(printed_name) between 1 and 60),
    role text not null,
    how text not null check (how in ('passphrase', 'pin', 'demonstration')),
    signed_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    -- One person does not sign for two.
    unique (signing_id, person_id)
) strict;
create index signature_by_subject on signature (subject_kind, subject_id);
create trigger signature_stays before update on signature
begin
    select raise(abort, 'a signature is not changed');
end;
create trigger signature_kept before delete on signature
begin
    select raise(abort, 'a signature is not deleted');
end;

-- A short PIN, good on one device for one person, inside that person's session only. No record: it
-- comes and goes.
create table device_pin (
    -- SHA-256 of the device's cookie.
    device_hash blob not null check (length(device_hash) = 32),
    person_id blob not null references person (id),
    -- Argon2id in PHC form.
    pin_hash text not null,
    -- Wrong tries since the last right one or the passphrase.
    failures integer not null default 0 check (failures >= 0),
    made_ms integer not null,
    primary key (device_hash, person_id)
) strict, without rowid;
