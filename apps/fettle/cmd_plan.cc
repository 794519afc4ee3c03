#include "cmd_plan.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <iostream>

#include "box_against.h"
#include "cmd_identity.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/change/offered.h"
#include "fettle/cutmap/promela.h"
#include "fettle/shelf/shelf.h"
#include "job_run.h"
#include "job_store.h"
#include "plan_picture.h"
#include "read_list.h"
#include "run_times.h"

namespace fettle::app {
namespace {

constexpr int most_cuts = 3;
constexpr std::size_t longest_list = std::size_t{4} << 20;

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
        o.views.push_back(view_of(*job, job->release_found));
    }
    if (o.family.empty()) o.family = job->family;
    if (o.complaint.empty()) o.complaint = job->complaint;
    const auto& c = job->consents;
    o.consent_one_way = o.consent_one_way || std::find(c.begin(), c.end(), "one-way") != c.end();
    return {};
}

// What the job's boxes said of their pieces before its first run: only when every box that can say so did.
std::optional<change::InstalledList> found_over_link(const Context& context, const family::Family& family) {
    if (context.job.empty()) return std::nullopt;
    const auto job = load_job(context, context.job);
    if (!job) return std::nullopt;
    change::InstalledList out;
    out.origin = change::Origin::read;
    for (const family::LinkBox& b : family.link) {
        if (b.did_pieces == 0) continue;
        const auto said = job->said_before.find(b.role);
        if (said == job->said_before.end() || !said->second.pieces) return std::nullopt;
        for (const book::Installed& p : *said->second.pieces) out.pieces.push_back({p.box, p.name, p.version, ""});
    }
    return out.pieces.empty() ? std::nullopt : std::optional(std::move(out));
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

// What the box offers for the first step, from a file or as typed.
Status add_offered(const Plan& p, const family::Family& family, const PlanOptions& o, Answer& a) {
    if (p.steps.empty())
        return usage_error("offered-no-step", "--offered", "the plan has no step to hold an offered list against",
                           "leave --offered out, or plan to a release that is reached");
    std::string text;
    if (o.offered == "-") {
        text.resize(longest_list + 1);
        std::cin.read(text.data(), static_cast<std::streamsize>(text.size()));
        text.resize(static_cast<std::size_t>(std::cin.gcount()));
        if (text.size() > longest_list)
            return bad_input("file-too-large", "typed list",
                             fmt::format("is larger than the {} bytes allowed here", longest_list),
                             "check that this is the right list");
    } else {
        auto read = read_text_file(o.offered, longest_list);
        if (!read) return pass(read);
        text = std::move(*read);
    }
    const auto list = change::parse_offered(family, text, o.offered == "-" ? "typed list" : o.offered);
    if (!list) return pass(list);
    const auto& step = p.steps.front();
    const auto answer = change::compare_offered(family, step.release, step.sheet, *list);
    a.judgement.add(answer.judgement);
    json::array surprises;
    for (const auto& s : answer.surprises) surprises.emplace_back(s);
    a.data["offered"] =
        json::object{{"listed", answer.listed}, {"expected", answer.expected}, {"surprises", std::move(surprises)}};
    a.text += fmt::format("  Offered list: {} listed, {} expected, {} surprise{}\n", answer.listed, answer.expected,
                          answer.surprises.size(), answer.surprises.size() == 1 ? "" : "s");
    for (const auto& s : answer.surprises) a.text += fmt::format("    {}\n", s);
    return {};
}

json::object odds_json(const cutmap::Odds& odds, bool given) {
    json::object worst;
    for (const auto& [outcome, p] : odds.worst) worst[std::string(cutmap::code(outcome))] = p;
    return {{"cuts_per_hour", odds.cuts_per_hour},
            {"source", given ? "given" : "guess"},
            {"no_cut", odds.no_cut},
            {"worst", std::move(worst)},
            {"no_way_back", odds.no_way_back()},
            {"further_no_way_back_at_most", odds.further_no_way_back}};
}

// "1 in 20,000", or the percentage where that says more.
std::string chance(double p) {
    if (p <= 0) return "none";
    if (p < 1e-7) return "less than 1 in 10,000,000";
    const double in = 1 / p;
    const double digits = std::pow(10, std::floor(std::log10(in)) - 1);
    return p >= 0.1 ? fmt::format("{:.0f} %", 100 * p) : fmt::format("1 in {:.0f}", std::round(in / digits) * digits);
}

void add_odds(const Plan& p, const PlanOptions& o, Answer& a) {
    const bool given = o.cut_rate != cutmap::usual_cuts_per_hour;
    if (!p.steps.empty())
        a.text +=
            fmt::format("  Odds, for {:g} power cuts an hour ({}):\n", o.cut_rate, given ? "as given" : "a guess");
    for (std::size_t i = 0; i < p.steps.size(); ++i) {
        const auto odds = cutmap::odds(p.steps[i].map, p.steps[i].forecast, o.cut_rate);
        json::value& shown = a.data["steps"].as_array()[i].as_object()["odds"];
        shown = odds_json(odds, given);
        if (!p.steps[i].map.boot_order_known) {  // an unknown chance is not a small one
            shown = nullptr;
            a.text += fmt::format("    step {}: can't say; every write counts as having no way back\n", i + 1);
            continue;
        }
        a.text += fmt::format("    step {}: a cut in the run {}; one that leaves no way back {}", i + 1,
                              chance(1 - odds.no_cut), chance(odds.no_way_back()));
        if (p.steps[i].map.cuts > 1)
            a.text += fmt::format("; by a further cut at most {}", chance(odds.further_no_way_back));
        a.text += "\n";
    }
}

}  // namespace

Result<Answer> plan(Context& context, const PlanOptions& given) {
    PlanOptions o = given;
    if (o.cuts < 1 || o.cuts > most_cuts) {
        return usage_error("cuts-range", "--cuts", "the map is made for 1 to 3 cuts", "give 1, 2 or 3");
    }
    if (!std::isfinite(o.cut_rate)) {
        return usage_error("cuts-range", "--cut-rate", "this is no rate of power cuts", "give a number from 0 to 60");
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

    if (o.fed == "apart" && unit->family->boxes.size() > 3)
        return usage_error("cuts-range", "--fed", "the map is made for up to 3 supplies, and the set has more boxes",
                           "name in the family file which boxes are fed together");
    for (auto& box : unit->family->boxes)  // a bench may feed a set otherwise than the family file has it
        if (!o.fed.empty()) box.supply = o.fed == "apart" ? box.role : "";
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
    request.own_outcomes = own_outcomes_of(context, unit->family->id, o.complaint, context.job);
    if (!o.as_found.empty()) {
        auto text = read_text_file(o.as_found, 4u << 20);
        if (!text) return pass(text);
        auto list = change::parse_installed(*text, o.as_found);
        if (!list) return pass(list);
        if (is_read_list(*text)) list->origin = change::Origin::read;
        request.as_found = std::move(*list);
    } else if (auto list = found_over_link(context, *unit->family)) {
        request.as_found = std::move(*list);
    }
    Plan p = make_plan(request);
    Judgement identified = unit->identity.judgement;
    for (auto& r : identified.reasons) {
        if (r.verdict != Verdict::fit) p.judgement.reasons.insert(p.judgement.reasons.begin(), r);
    }
    if (!context.job.empty()) {  // what was typed here and now counts, before what the job has
        auto job = load_job(context, context.job);
        if (!job) return pass(job);
        if (!unit->identity.market.empty()) job->market = unit->identity.market;
        if (!unit->identity.release.empty()) job->release_found = unit->identity.release;
        for (const Reason& r : reasons_against(*job)) p.judgement.add(r);
    }
    Answer a;
    a.headline = plan_headline(p);
    a.text = plan_as_text(p, *unit->family, o.full, o.ascii);
    a.judgement = p.judgement;
    a.level = unit->family->level;
    a.data = plan_as_json(p);
    a.data["identity"] = identity_as_json(unit->identity, &*unit->family);
    add_odds(p, o, a);
    if (!o.offered.empty())
        if (const Status held = add_offered(p, *unit->family, o, a); !held) return pass(held);
    if (!o.picture.empty()) {
        if (const Status s = write_file_durably(o.picture, plan_as_svg(p, *unit->family)); !s) return pass(s);
        a.data["picture"] = o.picture;
        a.text += fmt::format("  picture     {}\n", printable(o.picture));
    }
    if (!o.promela.empty())
        if (const Status written = write_models(p, *unit->family, o, a); !written) return pass(written);
    if (!p.steps.empty() || p.nothing_to_do) a.entries.push_back(planned_entry(p));
    return a;
}

}  // namespace fettle::app
