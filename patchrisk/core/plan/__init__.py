"""The season's preventive programme: what is covered, what to apply, when, and from which group.

What goes in, and becomes what, in the order in which `area_plan.plan_area` has it::

    Applied (cover)        what went on          Concern (inputs)      a disease, its trials, calls
    Choice (programme)     what can be applied   YearlyLimit (labels)  of an active in a year

        Option, Threat, Problem (problem)        a choice, a disease, all of it, as a search sees it
        Step (rotation)                          an application, as the guidelines see it

    Plan (problem)         days and options, found by `search.with_relief`
    Solution (answers)     a problem with its plan

        Application (explain)                    one of the plan, with what is worked out of it

    Planned, Answer, AreaPlan (programme)        what reports word, with the facts of facts.py
"""
