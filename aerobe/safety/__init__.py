"""Pure rules for a tea's way from the vessel to the ground. They hold back and explain; they never certify.

Every limit stands in a data file of this room with its source and date. Local codes and licensed practice decide.
"""

from aerobe.safety._advice import HOLD_BACK, NOTHING_AGAINST, UseAdvice, advise_use
from aerobe.safety._amounts import Amounts, Applied, amounts, applied_per_m2, mix_for
from aerobe.safety._cautions import OCCASIONS, Caution, all_cautions, cautions
from aerobe.safety._compost import (
    CompostFinding,
    HeatRule,
    heat_place,
    heat_rules,
    judge_compost,
    jurisdictions,
    sludge_equation_days,
)
from aerobe.safety._facts import BrewFacts, Gate, closed, floor_of
from aerobe.safety._field import judge_mesh, judge_weather, mesh_opening_mm
from aerobe.safety._findings import FAILS, NOT_SHOWN, SHOWN, STATES, Finding
from aerobe.safety._gates import harvest_gates
from aerobe.safety._hazards import Hazard, all_hazards
from aerobe.safety._indicators import E_COLI, ENTEROCOCCI, judge_absence, judge_count, judge_portions
from aerobe.safety._mist import SPRAY_PLACES, MistFacts, mist_gates
from aerobe.safety._oxygen_history import OxygenHistory, oxygen_history
from aerobe.safety._rule_axes import ends_of
from aerobe.safety._rule_clearance import CellFinding, Clearance, clearances, decides_by, is_unanswered
from aerobe.safety._rule_editions import Edition, edition_of, editions
from aerobe.safety._rule_questions import RuleQuestion, question_of, questions
from aerobe.safety._rule_table import RuleCell, RuleOutcome, Table, all_tables, decide, rule_places, table_of, tables_for
from aerobe.safety._rule_words import Suggestion, animal_additive, animal_material, is_known_name, on_the_list, suggestions
from aerobe.safety._smell import smell_of
from aerobe.safety._tea import CERTIFICATES, RiskNote, TeaFinding, judge_material, judge_tea, regrowth_risk
from aerobe.safety._thresholds import DECIDES, LOCAL, Threshold, all_thresholds, threshold
from aerobe.safety._use_facts import (
    HUMAN,
    KINDS,
    MADE_OF,
    PLANTS,
    SLUDGE_A,
    SLUDGE_B,
    TREATED,
    TREATED_A,
    UNKNOWN,
    UNTREATED,
    UseFacts,
)
from aerobe.safety._use_gates import use_gates
from aerobe.safety._water import Dechlorination, Sanitising, dechlorinate, judge_water, sanitise, water_kind

__all__ = [
    "animal_additive",
    "animal_material",
    "is_known_name",
    "oxygen_history",
    "mist_gates",
    "OxygenHistory",
    "MistFacts",
    "SPRAY_PLACES",
    "CERTIFICATES",
    "judge_material",
    "heat_place",
    "ends_of",
    "CellFinding",
    "Clearance",
    "clearances",
    "decides_by",
    "is_unanswered",
    "Edition",
    "edition_of",
    "editions",
    "RuleQuestion",
    "question_of",
    "questions",
    "RuleCell",
    "RuleOutcome",
    "Table",
    "all_tables",
    "decide",
    "rule_places",
    "table_of",
    "tables_for",
    "Suggestion",
    "on_the_list",
    "suggestions",
    "HUMAN",
    "KINDS",
    "MADE_OF",
    "PLANTS",
    "SLUDGE_A",
    "SLUDGE_B",
    "TREATED_A",
    "DECIDES",
    "ENTEROCOCCI",
    "E_COLI",
    "FAILS",
    "HOLD_BACK",
    "LOCAL",
    "NOTHING_AGAINST",
    "NOT_SHOWN",
    "OCCASIONS",
    "SHOWN",
    "STATES",
    "TREATED",
    "UNKNOWN",
    "UNTREATED",
    "Amounts",
    "Applied",
    "BrewFacts",
    "Caution",
    "CompostFinding",
    "Dechlorination",
    "Finding",
    "Gate",
    "Hazard",
    "HeatRule",
    "RiskNote",
    "Sanitising",
    "TeaFinding",
    "Threshold",
    "UseAdvice",
    "UseFacts",
    "advise_use",
    "all_cautions",
    "all_hazards",
    "all_thresholds",
    "amounts",
    "applied_per_m2",
    "cautions",
    "closed",
    "dechlorinate",
    "floor_of",
    "harvest_gates",
    "heat_rules",
    "judge_absence",
    "judge_compost",
    "judge_count",
    "judge_mesh",
    "judge_portions",
    "judge_tea",
    "judge_water",
    "judge_weather",
    "jurisdictions",
    "mesh_opening_mm",
    "mix_for",
    "regrowth_risk",
    "sanitise",
    "sludge_equation_days",
    "smell_of",
    "threshold",
    "use_gates",
    "water_kind",
]
