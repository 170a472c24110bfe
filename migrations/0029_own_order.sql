-- A line-up that the crew numbered itself: who laid it out. Null: the planner's.
alter table lineup add column own_by text check (length(own_by) between 1 and 80);
