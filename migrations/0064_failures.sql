-- How often somebody expects a part to fail, on all machines that it fits together. Added to and never
-- changed; the newest version holds. What was seen here stands beside it, and is read off the requests.

create table failure_said (
    part_id blob not null references part (id),
    version integer not null check (version >= 1),
    -- Thousandths of failures, in so many days.
    failures_milli integer not null check (failures_milli between 1 and 1000000),
    days integer not null check (days between 1 and 36500),
    why text not null check (length(why) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    primary key (part_id, version)
) strict, without rowid;
create trigger failure_said_stays before update on failure_said
begin
    select raise(abort, 'what was expected is not changed; say what is expected now');
end;
create trigger failure_said_kept before delete on failure_said
begin
    select raise(abort, 'what was expected is not deleted; say what is expected now');
end;
