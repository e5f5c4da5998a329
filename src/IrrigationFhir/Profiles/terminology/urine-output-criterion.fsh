CodeSystem: UrineOutputCriterionCode
Id: urine-output-criterion
Title: "Urine-output criteria"
Description: "Criteria of urine output over a trailing window."
* insert Published
* ^caseSensitive = true
* #kdigo-1 "KDIGO urine-output criterion stage 1" "Less than 0.5 mL/kg/h for 6 h (KDIGO 2012, adults). Output alone; no diagnosis."
* #kdigo-2 "KDIGO urine-output criterion stage 2" "Less than 0.5 mL/kg/h for 12 h (KDIGO 2012, adults). Output alone; no diagnosis."
* #kdigo-3 "KDIGO urine-output criterion stage 3" "Less than 0.3 mL/kg/h for 24 h (KDIGO 2012, adults). Output alone; no diagnosis."
* #kdigo-3-anuria "KDIGO urine-output criterion stage 3 by anuria" "Anuria for 12 h (KDIGO 2012, adults). Output alone; no diagnosis."
* #prifle-1 "pRIFLE urine-output criterion stage 1" "Less than 0.5 mL/kg/h for 8 h (Ann Intensive Care 2016, children). Output alone; no diagnosis."
* #prifle-2 "pRIFLE urine-output criterion stage 2" "Less than 0.5 mL/kg/h for 16 h (Ann Intensive Care 2016, children). Output alone; no diagnosis."
* #prifle-3 "pRIFLE urine-output criterion stage 3" "Less than 0.3 mL/kg/h for 24 h (Ann Intensive Care 2016, children). Output alone; no diagnosis."
* #prifle-3-anuria "pRIFLE urine-output criterion stage 3 by anuria" "Anuria for 12 h (Ann Intensive Care 2016, children). Output alone; no diagnosis."
* #neonatal-kdigo-1 "Neonatal KDIGO urine-output criterion stage 1" "At most 1.0 mL/kg/h over 24 h (BMC Nephrol 2020, neonates). Output alone; no diagnosis."
* #neonatal-kdigo-2 "Neonatal KDIGO urine-output criterion stage 2" "At most 0.5 mL/kg/h over 24 h (BMC Nephrol 2020, neonates). Output alone; no diagnosis."
* #neonatal-kdigo-3 "Neonatal KDIGO urine-output criterion stage 3" "At most 0.3 mL/kg/h over 24 h (BMC Nephrol 2020, neonates). Output alone; no diagnosis."
* #oliguria "Low output in 24 hours" "Under the site's limit in 24 h, by default 400 mL; adults."
* #polyuria "High output in 24 hours" "Over the site's limit in 24 h, by default 3000 mL; adults."
* #low-hourly-output "Low output in two consecutive hours" "Under the site's limit in each of two consecutive hours, by default 30 mL; adults."

ValueSet: UrineOutputCriterionCodes
Id: urine-output-criterion
Title: "Urine-output criteria"
Description: "All of them."
* insert Published
* include codes from system $criterion
