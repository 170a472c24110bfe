-- Line-ups as computed, and which one the crew works to.

create table lineup (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- The moment that minute 0 of its plan stands for.
    now_ms integer not null,
    computed_ms integer not null,
    -- How long the search took and how far it went.
    search_ms integer not null check (search_ms >= 0),
    iterations integer not null check (iterations >= 0),
    -- As planning-problem/1 and planning-solution/1.
    problem text not null check (json_valid(problem)),
    plan text not null check (json_valid(plan)),
    -- What was worked out from them: places, gates, losses. Names are looked up when shown.
    line_up text not null check (json_valid(line_up)),
    -- Sequence of the last change that the plan knew of: any later one makes it stale.
    journal_sequence integer not null references journal (sequence)
) strict;
create trigger lineup_stays before update on lineup
begin
    select raise(abort, 'a line-up is not changed; plan again');
end;

-- Which line-up the crew works to: the latest row. Rows are added, never changed.
create table lineup_accepted (
    sequence integer primary key references journal (sequence),
    lineup_id blob not null references lineup (id),
    accepted_ms integer not null,
    accepted_by text not null check (length(accepted_by) between 1 and 80)
) strict;
create trigger lineup_accepted_stays before update on lineup_accepted
begin
    select raise(abort, 'an acceptance is not changed; accept another line-up');
end;
create trigger lineup_accepted_kept before delete on lineup_accepted
begin
    select raise(abort, 'an acceptance is not deleted; accept another line-up');
end;
