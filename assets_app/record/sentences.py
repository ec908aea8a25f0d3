"""An entry of the record as one sentence. Pure; an unknown deed is said plainly rather than hidden."""

from __future__ import annotations

from typing import Any

from assets_app.inspections.kinds import KINDS

DEEDS: dict[str, str] = {
    "inspection.recorded": "recorded a look by {method}: {result_words}",
    "inspection.corrected": "corrected a look by {method}: {reason}",
    "evidence.added": "added a photo{caption_words}",
    "finding.raised": "raised {kind_words} from {before} to {severity}: {reason}",
    "finding.lowered": "lowered {kind_words} from {before} to {severity}: {reason}",
    "finding.assessed": "signed that {kind_words} may stand as {severity} until {ends_on}: {reason}",
    "finding.assessment_lapsed": "saw the assessment of {kind_words} end: {severity} again",
    "finding.closed": "closed {kind_words}: {reason}",
    "finding.joined": "said that {kind_words} is finding {same_as}, found before: {reason}",
    "finding.extended": "took the sizes of finding {joined} into {kind_words}, which is the same: {reason}",
    "finding.repaired": "recorded {kind_words} as repaired",
    "joint.assessed": "signed that the joint may stand until {ends_on}: {reason}",
    "role.granted": "made {person} {role}",
    "person.added": "added {person}, who signs in as {signs_in_as}, and made a link to set a password{link_words}",
    "person.link_made": "made a link by which {person} sets a password{link_words}{machine_words}",
    "person.password_set": "saw a password of {person} set by a link{made_by_words}",
    "person.password_changed": "changed their own password",
    "person.account_shut": "shut the account of {person}: {reason}{machine_words}",
    "person.account_opened": "opened the account of {person} again{machine_words}",
    "person.email_corrected": "corrected the email address of {person}",
    "role.taken": "took the role of {role} from {person}",
    "qualification.added": "put a certificate of {person} on file: {certificate_words}, until {expires_on}{by_words}",
    "qualification.noted": "noted that {person} holds a certificate: {certificate_words}, until {expires_on}",
    "qualification.withdrawn": (
        "ended a certificate of {person} ({certificate_words}) on {expires_on}: {reason}{by_words}"
    ),
    "qualification.continued": "confirmed that {person} used process {process} on {last_used_on}{why_words}{by_words}",
    "list.imported": "imported a list of {kind} from {file}",
    "order.unassigned": "took an order of {was} back, to be given out anew: {reason}",
    "order.finished": "finished an order, to be verified{weld_words}{note_words}",
}

# Deeds of the floor above, whose reason follows where one was given.
PLAIN: dict[str, str] = {
    "alert.acknowledged": "took note of an alert",
    "alert_rule.set": "set a rule of alerts",
    "asset.changed": "changed an asset in the register",
    "asset.created": "put an asset into the register",
    "bolts.read": "filled a bolt sheet",
    "counter.added": "set up a counter",
    "counter.changed": "changed a counter",
    "deferral.ended": "saw a deferral end",
    "deferral.signed": "put work off",
    "deferral.withdrawn": "withdrew a deferral",
    "fixed_day.set": "set a fixed day",
    "load_change.noted": "said that the load changed here",
    "owed_look.withdrawn": "withdrew a look that was asked for once",
    "sweep.owed": "asked for a look, as at joints like one found bad",
    "hold.placed": "placed a hold",
    "hold.released": "lifted a hold",
    "joint.changed": "changed a joint in the register",
    "joint.created": "put a joint into the register",
    "label.issued": "issued a label",
    "label.withdrawn": "withdrew a label",
    "member.changed": "changed a member in the register",
    "member.created": "put a member into the register",
    "meter.exchanged": "exchanged a meter",
    "order.answered_by_look": "saw an order answered by a look",
    "order.assigned": "assigned an order",
    "order.cancelled": "cancelled an order",
    "order.look_incomplete": "could not complete the look of an order",
    "order.part_added": "added a part to an order",
    "order.temporary_work_added": "added temporary works to an order",
    "order.part_arrived": "received a part of an order",
    "order.part_done": "left an order part done",
    "order.part_ordered": "ordered a part for an order",
    "order.planned": "planned an order",
    "order.raised": "raised an order",
    "order.step_done": "did a step of an order",
    "order.verified": "verified an order and closed it",
    "order.waiting": "said that an order waits",
    "order.waiting_ended": "said that an order waits no longer",
    "orders.raised": "raised orders",
    "photo.mark_struck": "struck a mark off a photo",
    "photo.marked": "marked a photo",
    "policy.changed": "changed a setting of the site",
    "programme.changed": "changed an inspection programme",
    "programme.needed_by_work": "added an inspection programme that work asks for",
    "reading.withdrawn": "withdrew a reading",
    "readings.file_posted": "posted a file of readings",
    "recording.started": "sent a recording to be counted",
    "recording.used": "made a stress spectrum of a recording",
    "register.imported": "imported a register",
    "season.added": "added a season",
    "season.changed": "changed a season",
    "season.removed": "removed a season",
    "site.opened": "opened the site",
    "spectrum.added": "added a stress spectrum",
    "table.replaced": "replaced a table of values",
    "table.restored": "restored a table of values",
    "webhook.changed": "changed an address that alerts are sent to",
    "webhook.made": "added an address that alerts are sent to",
}

LINKS = {"mail": ", mailed to them alone", "show": ", shown to who made it"}


def sentence(deed: str, facts: dict[str, Any]) -> str:
    """What was done, to follow the name of who did it: ``closed crack (100): paint only``."""
    pattern = DEEDS.get(deed)
    said = _Said(facts)
    if pattern is None:
        what = PLAIN.get(deed) or deed.replace(".", ", ").replace("_", " ")
        reason = facts.get("reason") or facts.get("why") or facts.get("note")
        return f"{what}: {reason}" if reason else what
    return pattern.format_map(said)


class _Said(dict[str, Any]):
    """The facts, with the phrases made from them; a fact that is not there reads *not said*."""

    def __missing__(self, name: str) -> str:
        if name == "kind_words":
            kind = KINDS.get(str(self.get("kind")))
            return kind.words if kind else "a finding"
        if name == "result_words":
            return _result(self)
        if name == "caption_words":
            return f": {self['caption']}" if self.get("caption") else ""
        if name == "certificate_words":
            level = f" level {self['level']}" if self.get("level") else ""
            positions = f" in {self['welding_position']}" if self.get("welding_position") else ""
            return f"{self.get('method') or self.get('process') or self.get('kind')}{level}{positions}"
        if name == "note_words":
            return f": {self['note']}" if self.get("note") else ""
        if name == "why_words":
            return f", {self['why']}" if self.get("why") else ""
        if name == "by_words":
            return " (as manager of another site where they work)" if self.get("by_another_site") else ""
        if name == "link_words":
            return LINKS.get(str(self.get("hand_over")), "")
        if name == "made_by_words":
            return f" that {self['link_made_by']} made" if self.get("link_made_by") else ""
        if name == "machine_words":
            return " (by a command on the machine of the service)" if self.get("at_the_machine") else ""
        if name == "weld_words":
            return _weld(self.get("weld"))
        return "not said"


def _weld(weld: dict[str, Any] | None) -> str:
    """Who welded; what is not known was not compared with the certificate, and says so."""
    if not weld:
        return ""
    known = [f"{name} {weld.get(name) or 'not known, so not checked'}" for name in ("process", "position")]
    return f", welded by {weld.get('welder')}, {', '.join(known)}"


def _result(facts: dict[str, Any]) -> str:
    findings = facts.get("findings") or []
    seen = ", ".join(
        f"{KINDS[one['kind']].words if one['kind'] in KINDS else one['kind']} ({one['severity']})" for one in findings
    )
    if facts.get("result") == "incomplete":
        return f"could not be completed{'; ' + seen if seen else ''}"
    return seen or "nothing beyond the limits"
