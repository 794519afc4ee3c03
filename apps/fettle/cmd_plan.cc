#include "cmd_plan.h"

#include <fmt/core.h>

#include <algorithm>

#include "cmd_identity.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/cutmap/promela.h"
#include "fettle/shelf/shelf.h"
#include "job_store.h"
#include "read_list.h"
#include "run_times.h"

namespace fettle::app {
namespace {

constexpr int most_cuts = 3;

struct ShelfView {
    std::vector<family::Release> releases;
    std::string as_of;
};

// A home without a shelf is an empty shelf: planning makes nothing.
Result<ShelfView> shelf_view(const Context& context, const std::string& family) {
    ShelfView view;
    std::error_code ignored;
    if (!std::filesystem::exists(context.shelf_folder(), ignored)) return view;
    auto shelf = shelf::Shelf::open(context.shelf_folder());
    if (!shelf) return pass(shelf);
    auto all = shelf->list(family);
    if (!all) return pass(all);
    for (auto& s : *all) view.releases.push_back(std::move(s.release));
    auto as_of = shelf->as_of(family);
    if (!as_of) return pass(as_of);
    if (as_of->newest > 0) view.as_of = iso8601(as_of->newest).substr(0, 10);
    return view;
}

// What the job knows already stands in for what was not typed; typed words come first.
Status take_from_job(const Context& context, PlanOptions& o) {
    if (context.job.empty()) return {};
    auto job = load_job(context, context.job);
    if (!job) return pass(job);
    if (o.plates.empty()) {
        for (const auto& [role, plate] : job->plates) o.plates.push_back(plate);
    }
    if (o.views.empty() && !job->release_found.empty()) {
        o.views.push_back(job->release_found + (job->market.empty() ? "" : " " + job->market));
    }
    if (o.family.empty()) o.family = job->family;
    if (o.complaint.empty()) o.complaint = job->complaint;
    const auto& c = job->consents;
    o.consent_one_way = o.consent_one_way || std::find(c.begin(), c.end(), "one-way") != c.end();
    return {};
}

Answer not_identified(const IdentifiedUnit& unit) {
    Answer a;
    a.headline = "No plan: what stands on the bench is not certain enough.";
    a.judgement = unit.identity.judgement;
    a.data = {{"identity", identity_as_json(unit.identity, unit.family ? &*unit.family : nullptr)}};
    if (unit.identity.question) a.text = "  ask first: " + unit.identity.question->text + "\n";
    return a;
}

// plan.pml for the first step, plan-2.pml for the second.
std::filesystem::path model_file(const std::filesystem::path& named, std::size_t step) {
    if (step == 0) return named;
    std::filesystem::path out = named;
    out.replace_filename(fmt::format("{}-{}{}", named.stem().string(), step + 1, named.extension().string()));
    return out;
}

// Every model is made before the first is written, so that a step without one leaves no file.
Status write_models(const Plan& p, const family::Family& family, const PlanOptions& o, Answer& a) {
    if (p.steps.empty())
        return usage_error("no-step", "--promela", "the plan has no step, so there is no cut to ask about",
                           "leave --promela out, or plan to a release that is reached");
    std::vector<std::string> models;
    for (const auto& step : p.steps) {
        auto model = cutmap::promela(family, step.sheet, o.cuts);
        if (!model) return pass(model);
        models.push_back(std::move(*model));
    }
    json::array files;
    for (std::size_t i = 0; i < models.size(); ++i) {
        const auto file = model_file(o.promela, i);
        if (Status s = write_file_durably(file, models[i]); !s) return pass(s);
        files.emplace_back(file.string());
        a.text += fmt::format("  model       step {}: {}; how to ask SPIN stands in its first lines\n", i + 1,
                              printable(file.string()));
    }
    a.data["models"] = std::move(files);
    return {};
}

}  // namespace

Result<Answer> plan(Context& context, const PlanOptions& given) {
    PlanOptions o = given;
    if (o.cuts < 1 || o.cuts > most_cuts) {
        return usage_error("cuts-range", "--cuts", "the map is made for 1 to 3 cuts", "give 1, 2 or 3");
    }
    if (const Status taken = take_from_job(context, o); !taken) return pass(taken);
    if (o.plates.empty()) {
        return usage_error("plate-missing", "plan", "no plate was given and no job has one",
                           "give --plate TEXT, or --job J");
    }
    IdentifyOptions who;
    who.plates = o.plates;
    who.views = o.views;
    who.family = o.family;
    who.sure = o.sure;
    auto unit = identify_unit(context, who);
    if (!unit) return pass(unit);
    if (!unit->family || unit->identity.judgement.verdict() == Verdict::halt) return not_identified(*unit);
    auto view = shelf_view(context, unit->family->id);
    if (!view) return pass(view);

    PlanRequest request;
    request.family = &*unit->family;
    request.set = set_of(*unit->family, unit->identity);
    request.shelf = std::move(view->releases);
    request.shelf_as_of = view->as_of;
    request.to = o.to;
    request.consent_one_way = o.consent_one_way;
    request.complaint = o.complaint;
    request.cuts = o.cuts;
    request.own_runs = own_runs_of(context, unit->family->id);
    if (!o.as_found.empty()) {
        auto text = read_text_file(o.as_found, 4u << 20);
        if (!text) return pass(text);
        auto list = change::parse_installed(*text, o.as_found);
        if (!list) return pass(list);
        if (is_read_list(*text)) list->origin = change::Origin::read;
        request.as_found = std::move(*list);
    }
    Plan p = make_plan(request);
    Judgement identified = unit->identity.judgement;
    for (auto& r : identified.reasons) {
        if (r.verdict != Verdict::fit) p.judgement.reasons.insert(p.judgement.reasons.begin(), r);
    }
    Answer a;
    a.headline = plan_headline(p);
    a.text = plan_as_text(p, *unit->family, o.full);
    a.judgement = p.judgement;
    a.data = plan_as_json(p);
    a.data["identity"] = identity_as_json(unit->identity, &*unit->family);
    if (!o.promela.empty())
        if (const Status written = write_models(p, *unit->family, o, a); !written) return pass(written);
    if (!p.steps.empty() || p.nothing_to_do) a.entries.push_back(planned_entry(p));
    return a;
}

}  // namespace fettle::app
