-- What the site needs done, its machines, the catalogue, and what is broken.

create table asset (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    -- Since when, or from when expected, it is down; null: runs.
    down_from_ms integer,
    -- When a replacement that does not depend on the cell is expected.
    back_ms integer
) strict;

create table capability (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    must_run integer not null check (must_run >= 0),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null
) strict;

create table capability_asset (
    capability_id blob not null references capability (id),
    asset_id blob not null references asset (id),
    position integer not null check (position >= 1),
    primary key (capability_id, asset_id),
    unique (capability_id, position)
) strict, without rowid;

-- The loss rate while so many of its assets are down; a row for each number from 0.
create table capability_loss (
    capability_id blob not null references capability (id),
    down integer not null check (down >= 0),
    loss_per_hour integer not null check (loss_per_hour between 0 and 1000000000),
    primary key (capability_id, down)
) strict, without rowid;

create table part (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    x_mm integer not null check (x_mm > 0),
    y_mm integer not null check (y_mm > 0),
    z_mm integer not null check (z_mm > 0),
    mass_g integer not null check (mass_g > 0)
) strict;

create table part_flag (
    part_id blob not null references part (id),
    flag text not null check (flag in ('form-only', 'guard', 'food-or-water', 'carries-load', 'can-injure', 'lifts',
        'holds-pressure', 'steers-or-brakes', 'explosive-area', 'unknown')),
    primary key (part_id, flag)
) strict, without rowid;

-- Revisions of one recipe share its code. A changed figure is a new revision.
create table recipe (
    id blob primary key check (length(id) = 16),
    code text not null check (length(code) between 1 and 40),
    part_id blob not null references part (id),
    revision integer not null check (revision >= 1),
    state text not null check (state in ('draft', 'proposed', 'approved', 'superseded', 'withdrawn')),
    approved_by text not null default '' check (length(approved_by) <= 80),
    unique (code, revision),
    check (state <> 'approved' or approved_by <> '')
) strict;
create unique index recipe_approved_once on recipe (code) where state = 'approved';

create table recipe_operation (
    recipe_id blob not null references recipe (id),
    position integer not null check (position >= 1),
    kind text not null check (kind in ('blast', 'mask', 'spray', 'heat-treat', 'cut', 'crack-check', 'measure',
        'release', 'carry', 'fit', 'first-run')),
    name text not null check (length(name) between 1 and 80),
    station_id blob references station (id),
    -- Of a step; a stage's minutes follow from what it sprays, and here stands 0.
    minutes integer not null check ((kind = 'spray') = (minutes = 0) and minutes between 0 and 20160),
    crew integer not null check (crew between 0 and 20),
    after_min integer not null check (after_min between 0 and 20160),
    primary key (recipe_id, position),
    check (kind <> 'spray' or station_id is null)
) strict, without rowid;

create table recipe_spray (
    recipe_id blob not null,
    position integer not null,
    powder_id blob not null references powder (id),
    deposited_g integer not null check (deposited_g > 0),
    one_lot integer not null check (one_lot in (0, 1)),
    gas text not null check (gas in ('nitrogen', 'helium', 'argon', 'air')),
    pressure_mbar integer not null check (pressure_mbar between 1000 and 100000),
    temperature_c integer not null check (temperature_c between 20 and 1200),
    feed_g_per_min integer not null check (feed_g_per_min between 1 and 1000),
    efficiency_permille integer not null check (efficiency_permille between 10 and 1000),
    efficiency_sd_permille integer not null check (efficiency_sd_permille between 0 and 500),
    start_stop_loss_g integer not null check (start_stop_loss_g >= 0),
    coupon_g integer not null check (coupon_g >= 0),
    handling_min integer not null check (handling_min between 0 and 1440),
    gas_only_min integer not null check (gas_only_min between 0 and handling_min),
    primary key (recipe_id, position),
    foreign key (recipe_id, position) references recipe_operation (recipe_id, position)
) strict, without rowid;

create table request (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    asset_id blob not null references asset (id),
    -- Null: not listed in the catalogue.
    part_id blob references part (id),
    part_name text not null check (length(part_name) between 1 and 80),
    damage text not null check (damage in ('damaged', 'worn', 'interim')),
    description text not null default '' check (length(description) <= 2000),
    reported_ms integer not null,
    reported_by text not null check (length(reported_by) between 1 and 80),
    asked_by text not null check (length(asked_by) between 1 and 80),
    needed_by_ms integer,
    danger integer not null check (danger in (0, 1)),
    -- When the broken part is at the cell; null: it is there.
    at_cell_ms integer,
    state text not null check (state in ('open', 'closed', 'refused'))
) strict;

create table request_way (
    request_id blob not null references request (id),
    position integer not null check (position >= 1),
    kind text not null check (kind in ('recipe', 'true-part')),
    recipe_code text,
    delivery_id blob references delivery (id),
    expected_ms integer,
    fit_min integer check (fit_min >= 1),
    crew integer check (crew between 0 and 20),
    primary key (request_id, position),
    check ((recipe_code is not null) = (kind = 'recipe')),
    check ((expected_ms is not null and fit_min is not null and crew is not null) = (kind = 'true-part'))
) strict, without rowid;

-- A yes that was given and recorded. Mendpost records it and never gives one.
create table yes (
    id blob primary key check (length(id) = 16),
    request_id blob not null references request (id),
    who text not null check (who in ('cell-lead', 'owners-engineer', 'lifting-examiner', 'pressure-inspector', 'licensed-body')),
    name text not null check (length(name) between 1 and 80),
    words text not null check (length(words) between 1 and 2000),
    until_ms integer,
    given_ms integer not null
) strict;
create trigger yes_stays before update on yes
begin
    select raise(abort, 'a yes is not changed; record a new one');
end;
create trigger yes_kept before delete on yes
begin
    select raise(abort, 'a yes is not deleted; record that it was taken back');
end;
