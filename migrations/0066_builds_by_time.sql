-- What consumables were used since somebody counted them goes by the builds since.
create index build_begun on build (begun_ms);
