Profile: CorrectedUrineOutput
Parent: Observation
Id: corrected-urine-output
Title: "Corrected urine output"
Description: "Urine made by the kidneys, computed from total drainage, irrigant instilled and retained volume. Four series: closed intervals, from one reading to the next, which add up and alone carry LOINC 9187-6; and clock hours, shifts and local days, which are shares of them and must not be added to them. A window that is complete and exactly 1, 8, 12 or 24 h long carries the LOINC code of that length with its unit; any other the local code alone. A value covers the whole effectivePeriod: a window of which a part is not covered has no value but a reason, and the sum of the covered part as a component; a clock hour stands only once it is covered. A term of the balance (leak, blood, change of what the bladder holds) that has no component was not measured and is taken as 0, as what the body absorbs always is. Carries its uncertainty and its caveats, also when the headline is missing; that an entry was corrected, or came late, is said by the status where that says it. The standard uncertainty of the best estimate is that of a normal distribution; the best estimate is given to its second digit (GUM 7.2.6), every computed number to the same place, none coarser than 1 mL. Numbers prompt a person to look at the patient; they diagnose nothing and command nothing. Local protocol, the order and licensed practice prevail."
* insert Published
* insert OfAnIrrigation
* subject 1..1
* status from output-status (required)
* code from urine-output-code (required)
* category 3..3
* category ^slicing.discriminator.type = #pattern
* category ^slicing.discriminator.path = "$this"
* category ^slicing.rules = #closed
* category contains exam 1..1 and fluid-balance 1..1 and window 1..1
* category[exam] = $category#exam
* category[fluid-balance] = $sct#364396009
* category[window] ^patternCodeableConcept.coding.system = "https://irrigationfhir.example/fhir/CodeSystem/output-window"
* category[window] from output-window (required)
* effective[x] 1..1
* effective[x] only Period
* effectivePeriod.start 1..1
* effectivePeriod.end 1..1
* value[x] only Quantity
* valueQuantity from output-unit (required)
* valueQuantity.value 1..1
* dataAbsentReason from absent-reason (required)
* method 1..1
* method = $calculation#drainage-minus-irrigant
* insert ComponentsByCode(#closed)
* component contains
    partial-volume 0..1 and
    covered-duration 0..1 and
    irrigant-instilled 0..1 and
    bladder-drainage-total 0..1 and
    urine-collected 0..1 and
    leak-estimated 0..1 and
    blood-removed 0..1 and
    retained-change 0..1 and
    simple-output 0..1 and
    best-estimate 0..1 and
    interval-95 0..1 and
    caveat 0..*
* insert QuantityComponent(partial-volume, mL)
* insert QuantityComponent(covered-duration, h)
* insert QuantityComponent(irrigant-instilled, mL)
* insert QuantityComponent(bladder-drainage-total, mL)
* insert QuantityComponent(urine-collected, mL)
* insert QuantityComponent(leak-estimated, mL)
* insert QuantityComponent(blood-removed, mL)
* insert QuantityComponent(retained-change, mL)
* insert QuantityComponent(simple-output, mL)
* insert QuantityComponent(best-estimate, mL)
* component[interval-95].code = $observation#interval-95
* component[interval-95].value[x] only Range
* component[interval-95].valueRange.low 1..1
* component[interval-95].valueRange.low = 'mL'
* component[interval-95].valueRange.low.value 1..1
* component[interval-95].valueRange.high 1..1
* component[interval-95].valueRange.high = 'mL'
* component[interval-95].valueRange.high.value 1..1
* component[caveat].code = $observation#caveat
* component[caveat].value[x] 1..1
* component[caveat].value[x] only CodeableConcept
* component[caveat].valueCodeableConcept from caveat (required)
* obeys ifh-value-or-reason and ifh-component-value-or-reason and cuo-derived-from and cuo-covered and cuo-one-series
* obeys cuo-window-code and cuo-timed-code and cuo-timed-length and cuo-timed-unit and cuo-interval

Invariant: cuo-derived-from
Description: "A value names what it was computed from."
Severity: #error
Expression: "value.empty() or derivedFrom.exists()"

Invariant: cuo-covered
Description: "A value covers the whole period: where only a part is covered there is no value, and the sum of that part is named as such, with its duration."
Severity: #error
Expression: "(component.where(code.coding.code contains 'covered-duration').exists() implies value.empty()) and (component.where(code.coding.code contains 'partial-volume').exists() implies component.where(code.coding.code contains 'covered-duration').exists())"

Invariant: cuo-one-series
Description: "LOINC 9187-6 and the SNOMED CT code of urine output stand on closed intervals alone: whoever adds them counts nothing twice."
Severity: #error
Expression: "(code.coding.code contains '9187-6') = (category.coding.code contains 'closed-interval') and (code.coding.code contains '364201005' implies category.coding.code contains 'closed-interval')"

Invariant: cuo-window-code
Description: "The local code is that of the window."
Severity: #error
Expression: "category.empty() or ((code.coding.code contains 'urine-output-corrected') = (category.coding.code contains 'closed-interval') and (code.coding.code contains 'urine-output-hour') = (category.coding.code contains 'clock-hour') and (code.coding.code contains 'urine-output-shift') = (category.coding.code contains 'shift') and (code.coding.code contains 'urine-output-day') = (category.coding.code contains 'local-day'))"

Invariant: cuo-timed-code
Description: "A LOINC code for 1, 8, 12 or 24 hours stands on a window, never on a closed interval, and only with a value that is not preliminary; no other LOINC code stands there."
Severity: #error
Expression: "code.coding.where(system = 'http://loinc.org').all(code = '9187-6' or code = '9188-4' or code = '9189-2' or code = '9191-8' or code = '9192-6') and (code.coding.where(code = '9188-4' or code = '9189-2' or code = '9191-8' or code = '9192-6').exists() implies ((category.coding.code contains 'closed-interval').not() and status != 'preliminary' and value.exists()))"

Invariant: cuo-timed-length
Description: "A LOINC code for 1, 8, 12 or 24 hours stands on a period of exactly that length, in elapsed time."
Severity: #error
Expression: "effective.start.empty() or effective.end.empty() or effective.end < effective.start or ((code.coding.code contains '9188-4' implies effective.start + 1 hour = effective.end) and (code.coding.code contains '9189-2' implies effective.start + 8 hours = effective.end) and (code.coding.code contains '9191-8' implies effective.start + 12 hours = effective.end) and (code.coding.code contains '9192-6' implies effective.start + 24 hours = effective.end))"

Invariant: cuo-timed-unit
Description: "A LOINC code for 1, 8, 12 or 24 hours is a rate: its value has the unit mL/h, mL/(8.h), mL/(12.h) or mL/d. Without such a code the value is a volume."
Severity: #error
Expression: "value.empty() or ((value.code = 'mL/h') = (code.coding.code contains '9188-4') and (value.code = 'mL/(8.h)') = (code.coding.code contains '9189-2') and (value.code = 'mL/(12.h)') = (code.coding.code contains '9191-8') and (value.code = 'mL/d') = (code.coding.code contains '9192-6'))"

Invariant: cuo-interval
Description: "A best estimate carries its standard uncertainty and stands within its 95 % interval; neither comes without the other."
Severity: #error
Expression: "iif(component.where(code.coding.code contains 'best-estimate').value.exists(), component.where(code.coding.code contains 'best-estimate').value.extension('http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty').exists() and component.where(code.coding.code contains 'interval-95').value.low.value <= component.where(code.coding.code contains 'best-estimate').value.value and component.where(code.coding.code contains 'best-estimate').value.value <= component.where(code.coding.code contains 'interval-95').value.high.value, component.where(code.coding.code contains 'interval-95').empty())"

Instance: corrected-urine-output-example
InstanceOf: CorrectedUrineOutput
Usage: #example
Description: "An eight-hour shift: 3450 mL drained, 3000 mL instilled by label."
* insert InventedPatient
* partOf.reference = "Procedure/bladder-irrigation-example"
* status = #final
* category[exam] = $category#exam "Exam"
* category[fluid-balance] = $sct#364396009 "Fluid balance observable"
* category[window] = $window#shift "Shift"
* code.coding[0] = $loinc#9189-2 "Urine output 8 hour"
* code.coding[1] = $observation#urine-output-shift "Corrected urine output of a shift"
* effectivePeriod.start = "2026-03-02T06:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueQuantity = 450 'mL/(8.h)' "mL/8 h"
* method = $calculation#drainage-minus-irrigant "Drainage minus irrigant"
* derivedFrom[0].reference = "Observation/irrigant-0001"
* derivedFrom[1].reference = "Observation/drainage-0001"
* component[irrigant-instilled].code = $observation#irrigant-instilled "Irrigant instilled"
* component[irrigant-instilled].valueQuantity = 3000 'mL' "mL"
* component[bladder-drainage-total].code = $observation#bladder-drainage-total "Total bladder drainage"
* component[bladder-drainage-total].valueQuantity = 3450 'mL' "mL"
* component[urine-collected].code = $observation#urine-collected "Urine collected by another route"
* component[urine-collected].valueQuantity = 0 'mL' "mL"
* component[leak-estimated].code = $observation#leak-estimated "Estimated leak"
* component[leak-estimated].valueQuantity = 0 'mL' "mL"
* component[retained-change].code = $observation#retained-change "Change of the retained volume"
* component[retained-change].dataAbsentReason = $absent#not-performed "Not Performed"
* component[best-estimate].code = $observation#best-estimate "Best estimate of urine output"
* component[best-estimate].valueQuantity = 368 'mL' "mL"
* component[best-estimate].valueQuantity.extension[0].url = "http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty"
* component[best-estimate].valueQuantity.extension[0].valueDecimal = 120
* component[interval-95].code = $observation#interval-95 "95 % interval of the best estimate"
* component[interval-95].valueRange.low = 136 'mL' "mL"
* component[interval-95].valueRange.high = 599 'mL' "mL"
* component[caveat].code = $observation#caveat "Caveat"
* component[caveat].valueCodeableConcept = $caveat#irrigant-interpolated "closing reading fell between two readings of the irrigant; its share is interpolated"
