// Of a run that nobody can describe: as if every write had no way back, so nothing is tried.
#include "fettle/mend/mend.h"

namespace fettle::mend {

Answer no_way_known(bool ended) {
    Answer m;
    if (ended) {
        m.nothing_to_mend = true;
        m.sentence = "Nothing to mend: the box said that it was done. What it left is for the proof.";
        return m;
    }
    m.sentence =
        "Can't say what can have happened: what a run of this family does is not known. Keep it fed, switch nothing "
        "off, take no card out.";
    m.before = {"do not switch anything off, and take no card out: every write counts as if it had no way back"};
    m.attempts.push_back(
        {MendKind::hand_over, "hand it over to whoever has the maker's papers", "", "", "", 1, 0, {}, 0, 0, {}});
    Withheld& card = m.withheld.emplace_back();
    card.kind = MendKind::same_card;
    card.why = "neither the step script nor the boot order is known: it could make it worse";
    m.stop = true;
    m.who_goes_on = "whoever has the maker's papers";
    m.judgement.add({"mend-no-script", Verdict::cant_say,
                     "the family file does not say what its run does, or the run was begun without a plan", "mend",
                     "family file"});
    m.judgement.add({"boot-order-unknown", Verdict::cant_say,
                     "the boot order is not known: every write counts as if it had no way back", "mend",
                     "family file"});
    return m;
}

}  // namespace fettle::mend
