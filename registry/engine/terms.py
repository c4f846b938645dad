"""What the registry's stored names are called. Other names are read with their underscores as spaces."""

from __future__ import annotations

from registry.engine.sentences import Sentence, sentence

WORDS: dict[str, str] = {
    "erection": sentence("erection"),
    "climbing": sentence("climbing"),
    "repositioning": sentence("repositioning"),
    "dismantling": sentence("dismantling"),
    "erector": sentence("erector"),
    "trainee": sentence("trainee"),
    "erection_supervisor": sentence("erection supervisor"),
    "overseeing_engineer": sentence("overseeing engineer"),
    "rigger": sentence("rigger"),
    "signal_person": sentence("signal person"),
    "crane_operator": sentence("crane operator"),
    "assist_crane_operator": sentence("assist-crane operator"),
    "assessor": sentence("assessor"),
    "pass": sentence("pass"),
    "not_yet_competent": sentence("not yet competent"),
    "in_force": sentence("in force"),
    "not_yet": sentence("not yet in force"),
    "expired": sentence("expired"),
    "suspended": sentence("suspended"),
    "revoked": sentence("revoked"),
    "reinstated": sentence("reinstated"),
    "maker": sentence("maker"),
    "employer": sentence("employer"),
    "third_party": sentence("third party"),
    "duty": sentence("duty"),
    "founding": sentence("founding"),
    "maker_instructor": sentence("maker's instructor"),
    "witnessed": sentence("witnessed"),
    "countersigned_late": sentence("countersigned late"),
    "transcribed": sentence("transcribed from paper"),
    "imported": sentence("imported"),
    "claimed": sentence("claimed: nobody signed"),
    # Topics and duties of the shipped role standards
    "assembly_procedures": sentence("assembly procedures"),
    "assessing_and_documenting": sentence("assessing and documenting"),
    "crew_tasks_and_hazards": sentence("crew tasks and hazards"),
    "hand_and_radio_signals": sentence("hand and radio signals"),
    "model_instruction": sentence("model instruction"),
    "operator_training": sentence("operator training"),
    "subpart_cc_training": sentence("subpart CC training"),
    # Where a record comes from, and what it is
    "register": sentence("register"),
    "paper": sentence("paper"),
    "import": sentence("import"),
    # What became of an assignment or of a request
    "held": sentence("held"),
    "confirmed": sentence("confirmed"),
    "ended": sentence("ended"),
    "corrected": sentence("corrected"),
    "withdrawn": sentence("withdrawn"),
    "declined": sentence("declined"),
    # Accounts
    "inspector": sentence("inspector"),
    "worker": sentence("worker"),
    "registrar": sentence("registrar"),
    "opened": sentence("opened"),
    "second_factor_added": sentence("second factor added"),
    "second_factor_removed": sentence("second factor removed"),
    "password_changed": sentence("password changed"),
    "address_changed": sentence("address changed"),
    "countersignature": sentence("countersignature"),
    "assessment": sentence("assessment"),
    # Answers
    "permitted": sentence("permitted"),
    "refused": sentence("refused"),
}


def term(name: str) -> Sentence:
    """A name the registry stores, as people say it: ``signal_person`` → ``signal person``."""
    return Sentence(in_english(name), {"term": name})


def in_english(name: str) -> str:
    """What a stored name is called in English."""
    return WORDS.get(name) or name.replace("_", " ")
