CodeSystem: UrineRoute
Id: urine-route
Title: "Routes of urine"
Description: "By which route urine was collected that did not pass the irrigated catheter's drainage."
* insert Published
* ^caseSensitive = true
* #void "Voided" "Passed naturally."
* #condom-catheter "Condom catheter" "Collected by an external catheter."
* #straight-catheter "In-and-out catheter" "Drained by a urethral catheter that was taken out at once."
* #urethral-catheter "Urethral catheter" "Drained by an indwelling urethral catheter while nothing irrigated it."
* #suprapubic-catheter "Suprapubic catheter" "Drained through the abdominal wall."
* #left-nephrostomy "Left nephrostomy" "Drained from the left kidney."
* #right-nephrostomy "Right nephrostomy" "Drained from the right kidney."
* #left-ureteral-stent "Left ureteral stent" "Drained by an external stent in the left ureter."
* #right-ureteral-stent "Right ureteral stent" "Drained by an external stent in the right ureter."
* #ileal-conduit "Ileal conduit" "Collected from a urinary stoma."

ValueSet: UrineRoutes
Id: urine-route
Title: "Routes of urine"
Description: "All routes of urine."
* insert Published
* include codes from system $urine-route
