-- What happened in a build, from its begin to its end. Nothing of it is changed; what was wrong is said anew.

-- What the line-up had planned of it when it was begun.
create table build_plan (
    build_id blob primary key references build (id),
    -- The number of the line-up; null: none was there.
    line_up integer,
    -- Set-up not included.
    minutes integer not null check (minutes >= 0),
    powder_g integer not null check (powder_g >= 0),
    -- Codes of the lots that it was to come from, parted by spaces.
    lots text not null,
    -- The bank that its gas was to come from; null: the compressor.
    bank text
) strict;

-- Spraying begins, or stops for a cause.
create table build_mark (
    journal_sequence integer primary key references journal (sequence),
    build_id blob not null references build (id),
    what text not null check (what in ('spray', 'stop')),
    cause text check (cause in (
        'layer-end', 'measure', 'powder', 'gas', 'shift-change', 'clog', 'nozzle-worn', 'feeder', 'heater', 'collector',
        'compressor', 'power', 'other'
    )),
    -- The pass that begins, or the last one that was ended; null: not told.
    pass integer check (pass between 0 and 100000),
    note text not null check (length(note) <= 400),
    at_ms integer not null,
    done_by text not null,
    person_id blob not null references person (id),
    check ((cause is not null) = (what = 'stop'))
) strict;
create index build_mark_of on build_mark (build_id, journal_sequence);

-- What was read in the cell while it was built, in the units of core::build.
create table build_reading (
    journal_sequence integer not null references journal (sequence),
    build_id blob not null references build (id),
    what text not null check (what in (
        'pressure', 'temperature', 'heater', 'feed', 'feeder-left', 'draught', 'humidity', 'oxygen', 'thickness'
    )),
    value integer not null,
    pass integer check (pass between 0 and 100000),
    at_ms integer not null,
    done_by text not null,
    person_id blob not null references person (id),
    primary key (journal_sequence, what)
) strict, without rowid;
create index build_reading_of on build_reading (build_id, journal_sequence);

-- What was done otherwise than the recipe says.
create table build_deviation (
    journal_sequence integer primary key references journal (sequence),
    build_id blob not null references build (id),
    words text not null check (length(words) between 1 and 400),
    at_ms integer not null,
    done_by text not null,
    person_id blob not null references person (id)
) strict;
create index build_deviation_of on build_deviation (build_id);

create table build_end (
    build_id blob primary key references build (id),
    journal_sequence integer not null unique references journal (sequence),
    ended_ms integer not null,
    outcome text not null check (outcome in ('done', 'scrapped')),
    -- What the part weighs more, and its coupons.
    part_mg integer not null check (part_mg >= 0),
    coupon_mg integer not null check (coupon_mg >= 0),
    -- Left in the feeder, and what had gone out of it into the build.
    left_mg integer not null check (left_mg >= 0),
    fed_mg integer not null check (fed_mg >= 0),
    division_mg integer not null check (division_mg > 0),
    -- As the site had it then.
    watch_mg integer not null,
    stop_mg integer not null check (stop_mg >= watch_mg),
    note text not null check (length(note) <= 400),
    done_by text not null,
    person_id blob not null references person (id)
) strict;

-- What was swept up behind it, or taken from the collector.
create table build_swept (
    build_id blob primary key references build (id),
    journal_sequence integer not null references journal (sequence),
    swept_mg integer not null check (swept_mg >= 0),
    at_ms integer not null,
    done_by text not null,
    person_id blob not null references person (id)
) strict;

create trigger build_plan_stays before update on build_plan begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_plan_kept before delete on build_plan begin select raise(abort, 'a build''s record is not deleted'); end;
create trigger build_mark_stays before update on build_mark begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_mark_kept before delete on build_mark begin select raise(abort, 'a build''s record is not deleted'); end;
create trigger build_reading_stays before update on build_reading begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_reading_kept before delete on build_reading begin select raise(abort, 'a build''s record is not deleted'); end;
create trigger build_deviation_stays before update on build_deviation begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_deviation_kept before delete on build_deviation begin select raise(abort, 'a build''s record is not deleted'); end;
create trigger build_end_stays before update on build_end begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_end_kept before delete on build_end begin select raise(abort, 'a build''s record is not deleted'); end;
create trigger build_swept_stays before update on build_swept begin select raise(abort, 'a build''s record is not changed'); end;
create trigger build_swept_kept before delete on build_swept begin select raise(abort, 'a build''s record is not deleted'); end;

-- Which nozzle is in, from then on; its hours are those of the builds since.
create table nozzle_fitted (
    journal_sequence integer primary key references journal (sequence),
    code text not null check (length(code) between 1 and 40),
    at_ms integer not null,
    -- What it had run elsewhere before.
    minutes_before integer not null check (minutes_before >= 0),
    note text not null check (length(note) <= 200)
) strict;
create trigger nozzle_fitted_stays before update on nozzle_fitted begin select raise(abort, 'that a nozzle was fitted stays on record'); end;
create trigger nozzle_fitted_kept before delete on nozzle_fitted begin select raise(abort, 'that a nozzle was fitted stays on record'); end;
alter table build add column nozzle text;
create index build_by_nozzle on build (nozzle);
