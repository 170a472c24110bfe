-- What two people say of a container: that it is drawn although something speaks against it, until a time.
create table waiver (
    journal_sequence integer not null references journal (sequence),
    container_id blob not null references container (id),
    -- The word of the doubt, as core::powder::draw has it.
    doubt text not null check (doubt in ('out-of-date', 'open-too-long', 'other-lot')),
    reason text not null check (length(reason) between 1 and 200),
    until_ms integer not null,
    primary key (journal_sequence, doubt)
) strict, without rowid;
create index waiver_of on waiver (container_id, until_ms);
create trigger waiver_stays before update on waiver
begin
    select raise(abort, 'what two people said of a container stays on record');
end;
create trigger waiver_kept before delete on waiver
begin
    select raise(abort, 'what two people said of a container stays on record');
end;

alter table weighing add column version integer not null default 1 check (version > 0);
