-- How far what is told may be off, and by how much an order may lose more than the least to be taken for
-- surviving more. The values that stand here at first are common practice, no source.

-- Two of three operations take between the told time divided and multiplied by 1 and so many thousandths.
alter table planning add column duration_permille integer not null default 200 check (duration_permille between 0 and 2000);
-- Hours by which a delivery is late at most, where nobody said its latest.
alter table planning add column late_h integer not null default 48 check (late_h between 0 and 720);
-- In how many of 1000 builds a part passes its checks: one that the crew may release by itself, one that
-- somebody else must say yes to, and a trial piece.
alter table planning add column own_permille integer not null default 950 check (own_permille between 10 and 1000);
alter table planning add column asked_permille integer not null default 900 check (asked_permille between 10 and 1000);
alter table planning add column trial_permille integer not null default 800 check (trial_permille between 10 and 1000);
-- As how many builds these three count beside those on record.
alter table planning add column chance_builds integer not null default 10 check (chance_builds between 1 and 1000);
alter table planning add column margin_permille integer not null default 10 check (margin_permille between 0 and 200);
-- Of the form that edits these.
alter table planning add column version integer not null default 1 check (version > 0);
