-- How often did a flag of obstruction stand, for 1,000 hours of irrigation?
with hours as (
    select sum(date_diff('minute', counted_from, counted_to)) / 60.0 as irrigated
    from 'irrigation_episodes-*.parquet'
    where status <> 'entered-in-error'
),
raised as (
    select count(*) as flags
    from 'flags-*.parquet'
    where flag in ('no-drainage', 'outflow-deficit') and not is_retracted
)
select flags, round(irrigated, 1) as irrigated_h, round(1000 * flags / irrigated, 1) as per_1000_h
from raised, hours;
