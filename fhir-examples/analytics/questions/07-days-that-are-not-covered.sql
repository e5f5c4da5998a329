-- Which days have a gap, and how much of them is known? Their partial_ml is never to be read as a day's output.
select patient_id, substr(started_at_local, 1, 10) as local_day, covered_h, partial_ml, absent_reason
from 'output_days-*.parquet'
where status <> 'entered-in-error' and not is_whole
order by patient_id, started_at;
