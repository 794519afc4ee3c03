#include "fettle/workshop/plan_job.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/plan/json_parts.h"
#include "fettle/workshop/box_against.h"
#include "fettle/workshop/installed_now.h"
#include "fettle/workshop/plan_entry.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// What the job knows already stands in for what was not typed; typed words come first.
void take_from_job(const book::Job& job, PlanAsk& ask) {
    if (ask.unit.plates.empty()) {
        for (const auto& [role, plate] : job.plates) ask.unit.plates.push_back(plate);
    }
    if (ask.unit.views.empty()) ask.unit.views = views_of(job, job.release_found);
    if (ask.unit.family.empty()) ask.unit.family = job.family;
    if (ask.complaint.empty()) ask.complaint = job.complaint;
}

// What the job's boxes said of their pieces before its first run: only when every box that can say so did.
std::optional<change::InstalledList> found_over_link(const book::Job& job, const family::Family& family) {
    change::InstalledList out;
    out.origin = Origin::read;
    for (const family::LinkBox& b : family.link) {
        if (b.did_pieces == 0) continue;
        const auto said = job.said_before.find(b.role);
        if (said == job.said_before.end() || !said->second.pieces) return std::nullopt;
        out.pieces.insert(out.pieces.end(), said->second.pieces->begin(), said->second.pieces->end());
    }
    return out.pieces.empty() ? std::nullopt : std::optional(std::move(out));
}

// The list that was typed for an earlier plan of the same set: it stands until another is typed, or the boxes are
// identified again.
std::optional<change::InstalledList> typed_before(const book::Job& job, const change::SetState& set) {
    if (!job.runs.empty() || job.as_found_origin != Origin::typed || job.planned_set.empty()) return std::nullopt;
    const auto kept = parse_json(job.planned_set, "the planned set");
    if (!kept || !kept->is_object()) return std::nullopt;
    const change::SetState then = plan::set_from_json(kept->get_object());
    const auto same = [](const auto& a, const auto& b) {
        return a.first == b.first && a.second.release == b.second.release && a.second.market == b.second.market;
    };
    if (!std::equal(then.begin(), then.end(), set.begin(), set.end(), same)) return std::nullopt;
    change::InstalledList out;
    out.origin = Origin::typed;
    out.pieces = job.as_found;
    return out;
}

// A plan that leads nowhere is kept where it stands on something that the last one did not know of the boxes.
bool learnt_more(const book::Job& job, const plan::Plan& plan) {
    return !job.planned_set.empty() &&
           parse_json(job.planned_set, "the planned set").value_or(nullptr) != json::value(plan::set_as_json(plan.set));
}

// What is not certain of the unit comes first; then what its boxes said against what the job has. What was typed here
// and now counts before what the job has.
void judge_unit(const identity::Identity& unit, std::optional<book::Job> job, Judgement& judgement) {
    for (const Reason& r : unit.judgement.reasons) {
        if (r.verdict != Verdict::fit) judgement.reasons.insert(judgement.reasons.begin(), r);
    }
    if (!job) return;
    if (!unit.market.empty()) job->market = unit.market;
    if (!unit.release.empty() || !unit.releases.empty())
        job->release_found = unit.release, job->releases_found = unit.releases;
    for (const Reason& r : reasons_against(*job)) judgement.add(r);
    if (auto r = offered_before(*job)) judgement.add(std::move(*r));
}

// What the box offers for the first step; `before`: what it offered otherwise when a list was last held against it.
Result<change::OfferedAnswer> offered_against(const plan::Plan& plan, const family::Family& family,
                                              const ListText& typed, const std::vector<std::string>& before) {
    if (plan.steps.empty())
        return usage_error("offered-no-step", with(flag("offered")),
                           "the plan has no step to hold an offered list against",
                           Next{"leave ", with(flag("offered")), " out, or plan to a release that is reached"});
    const auto list = change::parse_offered(family, typed.text, typed.place);
    if (!list) return pass(list);
    const auto& step = plan.steps.front();
    change::OfferedAnswer held = change::compare_offered(family, step.release, step.sheet, *list);
    // A list that says less than another said does not settle what that one had otherwise.
    const bool less = std::any_of(list->begin(), list->end(), [](const auto& o) { return o.version.empty(); });
    if (!less || !held.surprises.empty() || before.empty()) return held;
    held.surprises = before;
    held.judgement = {};
    held.judgement.add(
        {"offered-says-less", Verdict::halt,
         "the list names no versions, and an earlier one had something else than planned: " + before.front(),
         "offered list", "the lists and the package index",
         "type the list that it offers once more, with boxes and versions"});
    return held;
}

}  // namespace

std::string_view code(Feeding fed) {
    switch (fed) {
        case Feeding::as_family_says: return "";
        case Feeding::together: return "together";
        case Feeding::apart: return "apart";
    }
    return "";
}

Feeding feeding_of(std::string_view code) {
    return code == "together" ? Feeding::together : code == "apart" ? Feeding::apart : Feeding::as_family_says;
}

Status feed(family::Family& family, Feeding fed) {
    if (fed == Feeding::as_family_says) return {};
    if (fed == Feeding::apart && family.boxes.size() > 3)
        return usage_error("cuts-range", with(flag("fed")),
                           "the map is made for up to 3 supplies, and the set has more boxes",
                           "name in the family file which boxes are fed together");
    for (auto& box : family.boxes) box.supply = fed == Feeding::apart ? box.role : "";
    return {};
}

route::Consent consent_of(const book::Job& job) {
    if (!job.one_way_doors || job.one_way_doors->empty()) return job.one_way_doors.has_value();
    return route::Consent(*job.one_way_doors);
}

std::vector<std::string> views_of(const book::Job& job, const std::string& release) {
    const auto shows = [&](const std::string& view) {
        return view.find(release) != std::string::npos && view.find(job.market) != std::string::npos;
    };
    if (release.empty()) return job.releases_found.empty() ? std::vector<std::string>{} : job.views;
    if (!job.views.empty() && std::all_of(job.views.begin(), job.views.end(), shows)) return job.views;
    return {release + (job.market.empty() ? "" : " " + job.market)};
}

plan::Plan put_together(const Workshop& shop, plan::PlanRequest request, const ShelfView& shelf) {
    request.shelf = shelf.releases;
    request.shelf_as_of = shelf.as_of;
    request.own_runs = own_runs_of(shop, request.family->id);
    return plan::make_plan(request);
}

Result<Planned> plan_job(const Workshop& shop, const PlanAsk& asked) {
    PlanAsk ask = asked;
    if (ask.cuts < 1 || ask.cuts > most_cuts)
        return usage_error("cuts-range", with(flag("cuts")), "the map is made for 1 to 3 cuts", "give 1, 2 or 3");
    std::optional<book::Job> job;
    const bool said_now = !ask.unit.views.empty();  // typed now counts before what the runs should have left
    if (!ask.job.empty()) {
        auto loaded = load_job(shop, ask.job);
        if (!loaded) return pass(loaded);
        job = std::move(*loaded);
        if (ask.consent_one_way && !job->one_way_doors)
            return usage_error(
                "consent-not-kept", with(flag("consent")), "a consent of a job is kept in it, with a name",
                Next{"say who agreed: ", propose(Act::consent, {fettle::job(job->number), given("what", "one-way"),
                                                                wanted("by", "NAME")})});
        take_from_job(*job, ask);
    }
    if (ask.unit.plates.empty() && ask.unit.family.empty())
        return usage_error("plate-missing", "plan", "no plate was given and no job has one",
                           Next{"give ", with(wanted("plate", "TEXT")), ", or ", with(wanted("job", "J")),
                                "; where the labels are gone, ", with(wanted("family", "ID"))});
    auto unit = identified(shop, ask.unit);
    if (!unit) return pass(unit);
    Planned out{std::move(*unit), std::nullopt, std::nullopt};
    if (!out.unit.family || out.unit.identity.judgement.verdict() == Verdict::halt) return out;
    family::Family& family = *out.unit.family;
    const auto shelf = shelf_view(shop, family.id);
    if (!shelf) return pass(shelf);
    if (auto fed = feed(family, ask.fed); !fed) return pass(fed);

    std::optional<InstalledNow> now;
    if (job && !job->runs.empty() && !said_now) {
        auto run = with_family(shop, *job);
        if (!run) return pass(run);
        if (auto planned = add_plan(shop, *run); !planned) return pass(planned);
        now = installed_now(*run);
    }
    plan::PlanRequest request;
    request.family = &family;
    request.set = plan::set_of(family, out.unit.identity);
    request.to = ask.to;
    request.complaint = ask.complaint;
    request.consent = job ? consent_of(*job) : ask.consent_one_way;
    request.cuts = ask.cuts;
    if (ask.as_found) {
        auto list = installed_of(*ask.as_found);
        if (!list) return pass(list);
        request.as_found = std::move(*list);
    } else if (job) {
        request.as_found = found_over_link(*job, family);
        if (!request.as_found) request.as_found = typed_before(*job, request.set);
    }
    if (now && !ask.as_found) request.as_found = now->list;
    if (now) request.set = now->set;
    request.own_outcomes = own_outcomes_of(shop, family.id, ask.complaint, ask.job);
    out.plan = put_together(shop, std::move(request), *shelf);
    std::vector<std::string> otherwise;
    if (job && ask.offered) std::swap(otherwise, job->offered_otherwise);  // it is held against the plan again
    judge_unit(out.unit.identity, job, out.plan->judgement);
    if (now) out.plan->judgement.add(now->judgement);
    if (ask.offered) {
        auto held = offered_against(*out.plan, family, *ask.offered, otherwise);
        if (!held) return pass(held);
        out.offered = std::move(*held);
        out.plan->judgement.add(out.offered->judgement);
    }
    if (job)
        for (Reason& r : out.plan->judgement.reasons) {
            if (r.code == "consent-needed")
                r.next = Next{
                    "ask the owner, then: ",
                    propose(Act::consent, {fettle::job(job->number), given("what", "one-way"), wanted("by", "NAME")})};
            r.next.name_job(job->number);
        }
    if (job && job->is_open_run()) {  // what a run is held against does not change under it
        if (out.plan->to == job->target || job->target.empty()) return out;
        return bad_input("plan-mid-run", "job " + job->number,
                         "the run to " + printable(job->runs.back().release) +
                             " is under way, and this plan leads to " + printable(out.plan->to),
                         Next{"plan again when it has ended: ",
                              propose(Act::mark, {fettle::job(job->number), given("event", "ended")})});
    }
    // What the last run is to be held against stays until it was.
    if (job && !job->runs.empty() && job->proved.empty() &&
        std::none_of(out.plan->steps.begin(), out.plan->steps.end(),
                     [&](const plan::PlanStep& s) { return s.release.release == job->runs.back().release; })) {
        out.plan->judgement.add(
            {"plan-not-kept", Verdict::mind,
             "the run to " + printable(job->runs.back().release) + " is not proved yet, so this plan is only looked at",
             "plan", "journal", Next{"prove it first: ", propose(Act::prove, {fettle::job(job->number)})}});
        return out;
    }
    const bool leads = !out.plan->steps.empty() || out.plan->nothing_to_do;
    if (job && (leads || (job->runs.empty() && learnt_more(*job, *out.plan)))) {
        if (auto kept = append_entries(shop, ask.job, {planned_entry(*out.plan, ask.cuts, ask.fed, out.offered)});
            !kept)
            return pass(kept);
    }
    return out;
}

}  // namespace fettle::workshop
