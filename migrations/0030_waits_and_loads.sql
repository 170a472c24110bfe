-- How long an operation may wait, and furnaces that take several parts at once.

-- Minutes at most since the operation before it, a step that is done again if it took longer; null: no matter.
alter table recipe_operation add column within_min integer check (within_min between 1 and 20160
    and within_min >= after_min);

-- It holds one load at a time: up to `slots` parts of one cycle, put in and taken out together.
alter table station add column batch integer not null default 0 check (batch in (0, 1));
