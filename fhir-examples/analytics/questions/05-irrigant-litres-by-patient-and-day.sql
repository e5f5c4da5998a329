-- How many litres of irrigant ran in, by patient and by the ward's own day?
-- An amount over a time counts on the day on which it was read.
select patient_id,
       substr(coalesce(ended_at_local, happened_at_local), 1, 10)    as local_day,
       sum(irrigant_ml) / 1000                                        as litres,
       count(*) filter (where irrigant_ml is null)                    as not_known
from 'irrigant_readings-*.parquet'
where status <> 'entered-in-error'
group by patient_id, local_day
order by patient_id, local_day;
