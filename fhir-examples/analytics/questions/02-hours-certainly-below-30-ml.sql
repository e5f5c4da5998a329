-- Which hours were below 30 mL whatever the doubts: the whole 95 % interval lies below?
select patient_id, started_at_local, corrected_ml, interval95_low_ml, interval95_high_ml, status
from 'output_hours-*.parquet'
where status <> 'entered-in-error' and interval95_high_ml < 30
order by patient_id, started_at;
