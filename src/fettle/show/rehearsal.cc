#include "fettle/show/rehearsal.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/card.h"
#include "fettle/show/faults.h"
#include "fettle/show/handover.h"
#include "fettle/show/identity.h"
#include "fettle/show/job.h"
#include "fettle/show/link.h"
#include "fettle/show/mend.h"
#include "fettle/show/plan.h"
#include "fettle/show/print.h"
#include "fettle/show/prove.h"
#include "fettle/show/ready.h"
#include "fettle/show/shelf.h"
#include "fettle/show/watch.h"
#include "fettle/workshop/run_follow.h"

namespace fettle::show {
namespace {

constexpr std::size_t kWidth = 80;

struct ByOutcome {
    const ShowAct& shown;

    Answer operator()(const workshop::TakenIn* v) const { return taken_in(*v); }
    Answer operator()(const workshop::Shelving* v) const { return shelved(*v); }
    Answer operator()(const workshop::Identified* v) const { return identified(*v); }
    Answer operator()(const workshop::BoxesRead* v) const { return boxes_read(*v); }
    Answer operator()(const workshop::MemoryRead* v) const { return memory_read(*v); }
    Answer operator()(const workshop::Planned* v) const { return planned(*v, {}); }
    Answer operator()(const workshop::LaidCard* v) const { return laid(*v); }
    Answer operator()(const workshop::AuditedCard* v) const { return audited(*v); }
    Answer operator()(const workshop::Answered* v) const { return answered(*v); }
    Answer operator()(const workshop::ReadyChecked* v) const { return ready_checked(*v, shown); }
    Answer operator()(const workshop::Accepted* v) const { return accepted(*v); }
    Answer operator()(const workshop::Started* v) const {
        if (!v->begun) return not_started(*v);
        Answer a;
        a.headline = "The run has begun.";
        return a;
    }
    Answer operator()(const workshop::Mended* v) const { return mended(*v); }
    Answer operator()(const workshop::AsLeft* v) const { return as_left(*v); }
    Answer operator()(const workshop::FaultsKept* v) const { return faults_kept(*v); }
    Answer operator()(const workshop::Proved* v) const { return proved(*v, false); }
    Answer operator()(const workshop::ReturnedThing* v) const { return thing_returned(*v); }
    Answer operator()(const workshop::EndDone* v) const { return end_signed(*v); }
    Answer operator()(const workshop::HandedOver* v) const { return handed_over(*v); }
    Answer operator()(const workshop::SheetChecked* v) const { return sheet_checked(*v); }
    Answer operator()(const rehearse::NoAnswer& none) const {
        Answer a;
        a.headline = none.error->message(shown);
        return a;
    }
};

// "2:30" for an instant of a run: a cut is a matter of seconds.
std::string minutes_seconds(double s) {
    const auto whole = static_cast<long long>(s);
    return fmt::format("{}:{:02}", whole / 60, whole % 60);
}

struct ByWhat {
    std::string operator()(const rehearse::Begins& b) const {
        return to_page(fmt::format("Rehearsal on a virtual {}: {} to {}, at {:g} times real speed, seed {}.\n"
                                   "Each stage is the command that you would type. Virtual boxes, {}; real files, "
                                   "digests, signatures and protocol.\n",
                                   b.family.words, b.from, b.to, b.speed, b.seed,
                                   b.own_shelf ? "releases of your own shelf" : "invented releases"),
                       kWidth);
    }
    std::string operator()(const rehearse::GoesOn& g) const {
        return to_page(fmt::format("Going on with the rehearsal of {} to {} on a virtual {}, job {}, at {:g} times "
                                   "real speed.\n",
                                   g.from, g.to, g.family.words, g.job, g.speed),
                       kWidth);
    }
    std::string operator()(const rehearse::Done&) const { return {}; }
    std::string operator()(const rehearse::TakesUp& t) const {
        return fmt::format("\nStep {}, to {}: {} in the journal already.\n", t.step, t.release,
                           t.signs == 1 ? "1 sign stands" : fmt::format("{} signs stand", t.signs));
    }
    std::string operator()(const rehearse::Fed& f) const { return fmt::format("\nThe {} line is fed.\n", f.line); }
    std::string operator()(const rehearse::PowerWent& p) const {
        std::vector<std::string> said;
        for (const cutmap::Outcome o : p.cut.map_said) said.emplace_back(cutmap::words(o));
        return fmt::format(
            "\nPower cut at {} of the step, in \"{}\".\n  The map had said: {}. {}\n  The virtual set: {}.\n",
            minutes_seconds(p.cut.at_s), p.cut.act, join(said, " or "), p.cut.story, standin::words(p.cut.came));
    }
    std::string operator()(const rehearse::Looked&) const { return {}; }
};

json::object cut_as_json(const rehearse::Cut& cut, const std::string& mended_first) {
    json::array said;
    for (const cutmap::Outcome o : cut.map_said) said.push_back(json::string(cutmap::code(o)));
    const std::string came = cut.came == standin::Fate::same_card
                                 ? std::string(cutmap::code(cutmap::Outcome::same_card))
                                 : json_word(standin::words(cut.came));
    json::object out{{"release", cut.release}, {"act", cut.act}, {"cell", cut.cell},    {"at_s", cut.at_s},
                     {"map_said", said},       {"came", came},   {"agree", cut.agree()}};
    if (!mended_first.empty()) out["mend_first"] = mended_first;
    return out;
}

}  // namespace

Answer done(const rehearse::Outcome& outcome, const ShowAct& shown) {
    return std::visit(ByOutcome{shown}, outcome);
}

std::string told(const rehearse::Told& told) {
    return std::visit(ByWhat{}, told);
}

std::vector<std::string> picture(const rehearse::Looked& look, bool ascii) {
    return look.follow.follow().strip(look.where, {kWidth, ascii, true});
}

Answer rehearsed(const rehearse::Rehearsed& r) {
    Answer a;
    a.headline = fmt::format("Rehearsed {} to {} in {} of virtual time: {}", r.from, r.to, human_duration(r.ran_s),
                             proved(r.proof, false).headline);
    a.judgement = r.judgement;
    a.level = r.level;
    a.data = {{"folder", r.folder},
              {"job", r.job},
              {"virtual_s", r.ran_s},
              {"broken_off", r.broken_off},
              {"files", texts_as_json(r.files)}};
    if (r.cut) a.data["cut"] = cut_as_json(*r.cut, r.mended_first);
    a.text = "\nLeft in " + r.folder + ":\n  home/ (book, shelf, key), packages/, as-found.txt\n";
    for (const std::string& f : r.files) a.text += "  " + f + "\n";
    a.text += "Try next:\n  ";
    a.text += propose(Act::audit_card, {wanted("file", "IMAGE|DEVICE")});
    a.text += "     is a card of your own good? it only reads\n  ";
    a.text += propose(Act::rehearse, {given("cut-at", "700")});
    a.text += "       cut the power in the middle, and see whether the map was right\n  ";
    a.text += propose(Act::show_job, {job(r.job), given("home", r.folder + "/home"), flag("entries")});
    a.text += "\n";
    return a;
}

}  // namespace fettle::show
