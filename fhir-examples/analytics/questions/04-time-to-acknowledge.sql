-- How long did it take until somebody had seen a flag, by flag?
select flag,
       count(*)                                              as raised,
       count(minutes_to_acknowledge)                         as seen,
       median(minutes_to_acknowledge)                        as median_minutes
from 'flags-*.parquet'
where not is_retracted
group by flag
order by flag;
