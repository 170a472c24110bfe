-- A shape is taken off its part, and stays on record.

create table part_shape_off (
    journal_sequence integer primary key references journal (sequence),
    -- Which giving is undone, by its place in the journal.
    given integer not null unique references part_shape (journal_sequence),
    reason text not null check (length(reason) between 1 and 500),
    off_ms integer not null,
    off_by text not null check (length(off_by) between 1 and 80)
) strict;
create trigger part_shape_off_stays before update on part_shape_off
begin
    select raise(abort, 'that a shape was taken off is not changed; give another');
end;
create trigger part_shape_off_kept before delete on part_shape_off
begin
    select raise(abort, 'that a shape was taken off is not deleted; give another');
end;

-- The shape that a part has: the one given last, unless that was taken off.
create view part_shape_now as
select * from part_shape g
where g.journal_sequence = (select max(journal_sequence) from part_shape where part_id = g.part_id)
  and not exists (select 1 from part_shape_off where given = g.journal_sequence);
