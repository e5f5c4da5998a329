CodeSystem: CalculationMethod
Id: calculation-method
Title: "Calculation methods"
Description: "By which convention a urine output was computed."
* insert Published
* ^caseSensitive = true
* #drainage-minus-irrigant "Drainage minus irrigant" "Mass balance over the interval: drainage minus irrigant instilled, plus the change of the retained volume and estimated leaks. Terms that nobody measured are named in the result."
