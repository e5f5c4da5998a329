-- Where is the output below 0, and is it certainly so? Fluid stayed behind, leaked, or a volume is wrong: somebody has to look.
select patient_id, started_at_local, ended_at_local, corrected_ml, interval95_low_ml, interval95_high_ml,
       coalesce(interval95_high_ml < 0, false) as is_certain
from 'output_intervals-*.parquet'
where status <> 'entered-in-error' and corrected_ml < 0
order by patient_id, started_at;
