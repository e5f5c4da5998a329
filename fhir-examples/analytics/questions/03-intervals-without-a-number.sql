-- How much of the record has no number, and why? A missing number is no zero, so it is counted and never summed.
select coalesce(absent_reason, 'has a number')               as reason,
       count(*)                                              as intervals,
       round(100.0 * count(*) / sum(count(*)) over (), 1)    as percent
from 'output_intervals-*.parquet'
where status <> 'entered-in-error'
group by reason
order by intervals desc, reason;
