CodeSystem: IrrigationObservation
Id: irrigation-observation
Title: "Irrigation observations"
Description: "What is measured, charted or computed while a urinary catheter is irrigated, and the parts of such a result."
* insert Published
* ^caseSensitive = true
* #irrigant-instilled "Irrigant instilled" "Irrigation fluid that ran into the bladder."
* #irrigant-flow-rate "Irrigant flow rate" "Rate set for the irrigation fluid, as a volume per time."
* #irrigant-drip-rate "Irrigant drip rate" "Rate set for the irrigation fluid, as drops per minute. Says a volume only together with the drop factor of the giving set."
* #drop-factor "Drop factor" "Drops that make up one millilitre in the giving set in use."
* #bladder-drainage-total "Total bladder drainage" "Everything that left the bladder: irrigant, urine and blood together. Not urine output."
* #container-emptied "Container emptied" "Whether the drainage container was emptied at this reading, or its level only read."
* #container-mass "Mass of the container's content" "Weighed content of the drainage container."
* #urine-collected "Urine collected by another route" "Urine that did not pass the irrigated catheter's drainage."
* #leak-estimated "Estimated leak" "Fluid lost beside the catheter or spilt, estimated."
* #bladder-scan-volume "Bladder scan volume" "Fluid in the bladder, seen by ultrasound."
* #urine-output-corrected "Corrected urine output" "Urine made by the kidneys: total drainage minus the irrigant instilled, with what stayed in the bladder taken into account."
* #corrected-volume "Corrected volume" "Corrected urine output as a volume, whatever unit the headline has."
* #duration "Duration of the interval" "Length of the interval the result stands for."
* #covered-duration "Covered duration" "Part of the interval that closed intervals cover."
* #retained-change "Change of the retained volume" "Fluid in the bladder at the end less fluid in the bladder at the start."
* #simple-output "Drainage minus irrigant as charted" "Total drainage minus irrigant on the volumes as charted, with no other term."
* #best-estimate "Best estimate of urine output" "Corrected urine output with known bias of bags and containers taken out."
* #interval-95 "95 % interval of the best estimate" "Range that holds the true urine output with a coverage of about 95 %."
* #term-assumed-zero "Term taken as zero" "A term of the mass balance that nobody measured and that was set to zero."
* #caveat "Caveat" "What a reader must know before relying on the result."
* #quantity-as-sent "Quantity as sent" "The measured quantity in the unit in which its sender gave it."
* #irrigation-line "Irrigation line" "Which irrigation line a reading is about."
* #drainage-container "Drainage container" "Which drainage container a reading is about."
* #counter-restarted "Counter restarted" "Whether a counter began again at 0 since its previous reading and lost nothing."
* #container-tare "Mass of the empty container" "Mass of the empty drainage container."
* #tubing-prime "Tubing prime" "Irrigation fluid that fills the giving set and never reaches the bladder."

ValueSet: FlowRateCode
Id: flow-rate-code
Title: "Flow rate codes"
Description: "A flow as a volume per time, or as drops per minute."
* insert Published
* $observation#irrigant-flow-rate
* $observation#irrigant-drip-rate
