Profile: CorrectedUrineOutput
Parent: Observation
Id: corrected-urine-output
Title: "Corrected urine output"
Description: "Urine made by the kidneys over an interval, computed from total drainage, irrigant instilled and retained volume. Carries its parts, its uncertainty and its caveats, also when the headline is missing."
* insert Published
* subject 1..1
* status from output-status (required)
* code = $loinc#9187-6
* code ^patternCodeableConcept.coding[1] = $sct#364201005
* code ^patternCodeableConcept.coding[2] = $observation#urine-output-corrected
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
    corrected-volume 0..1 and
    duration 1..1 and
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
    term-assumed-zero 0..* and
    caveat 0..*
* insert QuantityComponent(corrected-volume, mL)
* insert QuantityComponent(duration, h)
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
* component[term-assumed-zero].code = $observation#term-assumed-zero
* component[term-assumed-zero].value[x] 1..1
* component[term-assumed-zero].value[x] only CodeableConcept
* component[term-assumed-zero].valueCodeableConcept from balance-term (required)
* component[caveat].code = $observation#caveat
* component[caveat].value[x] 1..1
* component[caveat].value[x] only CodeableConcept
* component[caveat].valueCodeableConcept from caveat (required)
* obeys ifh-value-or-reason and ifh-component-value-or-reason and cuo-derived-from and cuo-timed-code and cuo-timed-unit and cuo-interval

Invariant: cuo-derived-from
Description: "A value names what it was computed from."
Severity: #error
Expression: "value.empty() or derivedFrom.exists()"

Invariant: cuo-timed-code
Description: "A LOINC code for 1, 8, 12 or 24 hours stands on a window of exactly that length, and only when the window is complete."
Severity: #error
Expression: "(code.coding.code contains '9188-4' implies (status != 'preliminary' and component.where(code.coding.code contains 'duration').value.value = 1)) and (code.coding.code contains '9189-2' implies (status != 'preliminary' and component.where(code.coding.code contains 'duration').value.value = 8)) and (code.coding.code contains '9191-8' implies (status != 'preliminary' and component.where(code.coding.code contains 'duration').value.value = 12)) and (code.coding.code contains '9192-6' implies (status != 'preliminary' and component.where(code.coding.code contains 'duration').value.value = 24))"

Invariant: cuo-timed-unit
Description: "A LOINC code for 1, 8, 12 or 24 hours is a rate: its value has the unit mL/h, mL/(8.h), mL/(12.h) or mL/d. Without such a code the value is a volume or a rate per hour."
Severity: #error
Expression: "value.empty() or ((value.code = 'mL/(8.h)') = (code.coding.code contains '9189-2') and (value.code = 'mL/(12.h)') = (code.coding.code contains '9191-8') and (value.code = 'mL/d') = (code.coding.code contains '9192-6') and (code.coding.code contains '9188-4' implies value.code = 'mL/h'))"

Invariant: cuo-interval
Description: "A best estimate carries its standard uncertainty and stands within its 95 % interval; neither comes without the other."
Severity: #error
Expression: "iif(component.where(code.coding.code contains 'best-estimate').value.exists(), component.where(code.coding.code contains 'best-estimate').value.extension('http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty').exists() and component.where(code.coding.code contains 'interval-95').value.low.value <= component.where(code.coding.code contains 'best-estimate').value.value and component.where(code.coding.code contains 'best-estimate').value.value <= component.where(code.coding.code contains 'interval-95').value.high.value, component.where(code.coding.code contains 'interval-95').empty())"

Instance: corrected-urine-output-example
InstanceOf: CorrectedUrineOutput
Usage: #example
Description: "An eight-hour shift: 3450 mL drained, 3000 mL instilled by label."
* insert InventedPatient
* status = #final
* category[exam] = $category#exam "Exam"
* category[fluid-balance] = $sct#364396009 "Fluid balance observable"
* category[window] = $window#shift "Shift"
* code.coding[0] = $loinc#9187-6 "Urine output"
* code.coding[1] = $sct#364201005 "Urine output (observable entity)"
* code.coding[2] = $observation#urine-output-corrected "Corrected urine output"
* code.coding[3] = $loinc#9189-2 "Urine output 8 hour"
* effectivePeriod.start = "2026-03-02T06:00:00+01:00"
* effectivePeriod.end = "2026-03-02T14:00:00+01:00"
* valueQuantity = 450 'mL/(8.h)' "mL/8 h"
* method = $calculation#drainage-minus-irrigant "Drainage minus irrigant"
* derivedFrom[0].reference = "Observation/irrigant-0001"
* derivedFrom[1].reference = "Observation/drainage-0001"
* component[corrected-volume].code = $observation#corrected-volume "Corrected volume"
* component[corrected-volume].valueQuantity = 450 'mL' "mL"
* component[duration].code = $observation#duration "Duration of the interval"
* component[duration].valueQuantity = 8 'h' "h"
* component[covered-duration].code = $observation#covered-duration "Covered duration"
* component[covered-duration].valueQuantity = 8 'h' "h"
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
* component[simple-output].code = $observation#simple-output "Drainage minus irrigant as charted"
* component[simple-output].valueQuantity = 450 'mL' "mL"
* component[best-estimate].code = $observation#best-estimate "Best estimate of urine output"
* component[best-estimate].valueQuantity = 367.5 'mL' "mL"
* component[best-estimate].valueQuantity.extension[0].url = "http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty"
* component[best-estimate].valueQuantity.extension[0].valueDecimal = 115.8
* component[best-estimate].valueQuantity.extension[1].url = "http://hl7.org/fhir/StructureDefinition/iso21090-uncertaintyType"
* component[best-estimate].valueQuantity.extension[1].valueCode = #N
* component[interval-95].code = $observation#interval-95 "95 % interval of the best estimate"
* component[interval-95].valueRange.low = 136 'mL' "mL"
* component[interval-95].valueRange.high = 599 'mL' "mL"
* component[term-assumed-zero].code = $observation#term-assumed-zero "Term taken as zero"
* component[term-assumed-zero].valueCodeableConcept = $term#retained-change "Change of the retained volume"
* component[caveat].code = $observation#caveat "Caveat"
* component[caveat].valueCodeableConcept = $caveat#irrigant-interpolated "closing reading fell between two readings of the irrigant; its share is interpolated"
