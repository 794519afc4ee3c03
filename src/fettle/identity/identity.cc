// Plates → family and roles; then the set, the intake and the view are held against them.
#include "fettle/identity/identity.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "fettle/base/text.h"
#include "fettle/identity/lookalike.h"

namespace fettle::identity {
namespace {

// A plate read by the rule of one box of one family.
struct Hit {
    const family::Family* family = nullptr;
    const family::Box* box = nullptr;
    LabelAnswer answer;

    bool read() const { return !answer.readings.empty(); }
    double cost() const { return read() ? answer.readings.front().cost : std::numeric_limits<double>::infinity(); }
};

const double clear_margin = std::log(taken_ratio);

class Identifier {
public:
    Identifier(const std::vector<family::Family>& families, const Given& given) : families_(families), given_(given) {}

    Identity run() {
        if (families_.empty()) {
            add("no-family-known", Verdict::halt, "no family file is known here, so no plate can be read", "families",
                "family file");
        } else if (given_.plates.empty()) {
            add("no-plate", Verdict::cant_say, "no plate was given: which box it is, is not known", "plates", "typed");
            if (families_.size() == 1) family_ = &families_.front();
        } else {
            for (std::size_t i = 0; i < given_.plates.size(); ++i) read_plate(i);
            choose_family();
        }
        if (family_) {
            out_.family = family_->id;
            out_.set = family_->boxes.size() > 1;
            if (!given_.plates.empty()) {
                take_boxes();
                check_set();
            }
        }
        check_intake();
        read_views();
        return std::move(out_);
    }

private:
    void add(std::string code, Verdict v, std::string text, std::string where, std::string rests_on) {
        out_.judgement.add({std::move(code), v, std::move(text), std::move(where), std::move(rests_on)});
    }
    void ask(Question q) {
        if (!out_.question) out_.question = std::move(q);
    }
    std::string plate_name(std::size_t i) const {
        return given_.plates.size() == 1 ? "plate" : fmt::format("plate {}", i + 1);
    }

    void read_plate(std::size_t i) {
        hits_.emplace_back();
        for (const family::Family& f : families_)
            for (const family::Box& b : f.boxes)
                hits_.back().push_back({&f, &b, read_label(b.plate, given_.plates[i], plate_name(i))});
    }

    // The cheapest hit of one plate in one family; nullptr if no box of it can have this plate.
    const Hit* best(std::size_t plate, const family::Family* f) const {
        const Hit* out = nullptr;
        for (const Hit& h : hits_[plate])
            if (h.family == f && h.read() && (!out || h.cost() < out->cost())) out = &h;
        return out;
    }

    void choose_family() {
        std::vector<std::pair<double, const family::Family*>> whole;  // families that read every plate
        for (const family::Family& f : families_) {
            double cost = 0;
            for (std::size_t i = 0; i < hits_.size(); ++i) {
                const Hit* h = best(i, &f);
                cost += h ? h->cost() : std::numeric_limits<double>::infinity();
            }
            if (std::isfinite(cost)) whole.emplace_back(cost, &f);
        }
        std::sort(whole.begin(), whole.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
        if (whole.empty()) return no_family();
        if (whole.size() > 1 && whole[1].first - whole[0].first < clear_margin) return ask_family(whole);
        family_ = whole.front().second;
    }

    void ask_family(const std::vector<std::pair<double, const family::Family*>>& whole) {
        Question q{"plates", "Which family is it?", {}, std::log2(static_cast<double>(whole.size()))};
        for (const auto& [cost, f] : whole) q.answers.push_back(fmt::format("{} ({})", f->id, f->words));
        add("more-than-one-family", Verdict::cant_say,
            "the plates can be of more than one family: " + join(q.answers, ", "), "plates", "family file");
        ask(std::move(q));
        for (std::size_t i = 0; i < hits_.size(); ++i) out_.labels.push_back(best(i, whole.front().second)->answer);
    }

    void no_family() {
        std::vector<std::string> owners;
        bool all_read = true;
        for (std::size_t i = 0; i < hits_.size(); ++i) {
            std::vector<std::string> readers;
            for (const family::Family& f : families_)
                if (best(i, &f)) readers.push_back(f.id);
            if (readers.empty()) {
                all_read = false;
                unknown_plate(i);
            } else {
                out_.labels.push_back(best(i, family_named(readers.front()))->answer);
                owners.push_back(
                    fmt::format("{} ({}) is of {}", plate_name(i), out_.labels.back().typed, join(readers, " or ")));
            }
        }
        if (!all_read) return;
        add("plates-of-different-families", Verdict::halt,
            "no one family has all of these plates: " + join(owners, "; "), "plates", "family file");
        ask({"plates", "Which of these boxes belong to the job? One job is one unit of one family.", owners, 0});
    }

    const family::Family* family_named(const std::string& id) const {
        for (const family::Family& f : families_)
            if (f.id == id) return &f;
        return &families_.front();
    }

    // Says per family how far the plate could be read, and keeps the answer that got furthest.
    void unknown_plate(std::size_t i) {
        const Hit* furthest = nullptr;
        std::vector<std::string> tried;
        for (const Hit& h : hits_[i]) {
            if (!furthest || h.answer.accepted_characters > furthest->answer.accepted_characters) furthest = &h;
            tried.push_back(h.answer.accepted_characters == 0
                                ? fmt::format("starts like no {} of {}", h.box->words, h.family->id)
                                : fmt::format("as {} of {} it can be read as far as \"{}\", then {} was expected",
                                              h.box->words, h.family->id, printable(h.answer.accepted_prefix),
                                              h.answer.expected_next));
        }
        if (tried.size() > 8) {
            const std::size_t rest = tried.size() - 8;
            tried.resize(8);
            tried.push_back(fmt::format("and {} more", rest));
        }
        if (furthest) {
            out_.labels.push_back(furthest->answer);
            // A plate that is whole but for its check character is named as such; the list of families says the rest.
            for (const Reason& r : furthest->answer.judgement.reasons)
                if (r.code == "check-character-wrong") out_.judgement.add(r);
        }
        add("plate-not-known", Verdict::halt,
            fmt::format("\"{}\" is of no family known here: {}", printable(given_.plates[i].text.substr(0, 80)),
                        join(tried, "; ")),
            plate_name(i), "family file");
        ask({plate_name(i),
             fmt::format("Read the {} again from its box: is it {}?", plate_name(i),
                         printable(given_.plates[i].text.substr(0, 80))),
             {"it was mistyped", "it reads just so"},
             0});
    }

    void take_boxes() {
        std::vector<const Hit*> taken;
        for (std::size_t i = 0; i < hits_.size(); ++i) {
            const Hit* first = best(i, family_);
            out_.labels.push_back(first->answer);
            for (const Hit& other : hits_[i])
                if (&other != first && other.family == family_ && other.cost() - first->cost() < clear_margin)
                    ask_role(i, *first, other);
            out_.judgement.add(first->answer.judgement);
            if (first->answer.question) ask(*first->answer.question);
            taken.push_back(first);
        }
        for (const family::Box& b : family_->boxes) take_role(b, taken);
    }

    void ask_role(std::size_t i, const Hit& a, const Hit& b) {
        add("more-than-one-role", Verdict::cant_say,
            fmt::format("can be of the {} or of the {}", a.box->words, b.box->words), plate_name(i), "family file");
        ask({plate_name(i),
             fmt::format("Which box does {} stand on?", plate_name(i)),
             {a.box->words, b.box->words},
             1});
    }

    void take_role(const family::Box& b, const std::vector<const Hit*>& taken) {
        const Hit* first = nullptr;
        for (const Hit* h : taken) {
            if (h->box != &b) continue;
            if (!first) {
                first = h;
                out_.boxes.push_back(box_of(*h));
                continue;
            }
            const std::string& one = first->answer.readings.front().text;
            const std::string& two = h->answer.readings.front().text;
            if (one == two) {
                add("plate-given-twice", Verdict::mind, fmt::format("plate {} was given twice", one), "plates",
                    "typed");
                continue;
            }
            add("two-of-one-role", Verdict::halt,
                fmt::format("{} and {} are both plates of a {}; a set has one", one, two, b.words), "plates",
                "family file");
            ask({"plates", fmt::format("Which {} belongs to the job?", b.words), {one, two}, 1});
        }
        if (!first) out_.missing.push_back(b.role);
    }

    static IdentifiedBox box_of(const Hit& h) {
        const Reading& r = h.answer.readings.front();
        IdentifiedBox out;
        out.role = h.box->role;
        out.typed = h.answer.typed;
        out.likely = h.box->plate.likely;
        out.fields = r.fields;
        if (h.answer.taken) {
            out.plate = r.text;
            out.corrections = r.corrections;
        } else {                                             // only what every reading agrees on is known
            if (h.answer.more_readings) out.fields.clear();  // those that were not looked for may have others
            for (const Reading& other : h.answer.readings)
                std::erase_if(out.fields, [&](const auto& f) {
                    const auto at = other.fields.find(f.first);
                    return at == other.fields.end() || at->second != f.second;
                });
        }
        for (const auto& [field, text] : out.fields) {
            const auto values = h.box->plate.values.find(field);
            if (values == h.box->plate.values.end()) continue;
            if (const auto at = values->second.find(text); at != values->second.end()) out.words[field] = at->second;
        }
        return out;
    }

    void check_set() {
        if (!out_.set || out_.missing.empty()) return;
        for (const std::string& role : out_.missing) {
            const family::Box* b = family_->box(role);
            add("plate-of-set-missing", Verdict::mind,
                fmt::format("{} is a set; the plate of the {} was not given{}", family_->id, b->words,
                            b->plate.reach.empty() ? "" : ". " + b->plate.reach),
                role, "family file");
        }
    }

    void check_intake() {
        if (!given_.intake.housings || !family_) return;
        const int noted = *given_.intake.housings;
        const int boxes = static_cast<int>(out_.boxes.size());
        if (boxes > noted) {
            std::vector<std::string> names;
            for (const IdentifiedBox& b : out_.boxes)
                names.push_back(fmt::format("{} from the {}", printable(b.typed), family_->box(b.role)->words));
            add("set-contradicts-intake", Verdict::halt,
                fmt::format("the plates are of {} boxes ({}), but the intake says {}", boxes, join(names, ", "),
                            plural(noted, "housing")),
                "intake", "intake");
            // This comes before any question about a character: it may be the wrong box altogether.
            out_.question = Question{
                "intake",
                fmt::format("The intake says {}: which box did each plate come from?", plural(noted, "housing")), names,
                std::log2(static_cast<double>(boxes))};
            out_.question->answers.emplace_back("the intake is wrong: there are more housings");
        } else if (boxes < noted && !given_.plates.empty()) {
            add("housing-without-plate", Verdict::mind,
                fmt::format("the intake says {} housings, {} plate{} given", noted, boxes,
                            boxes == 1 ? " was" : "s were"),
                "intake", "intake");
        }
    }

    struct View {
        std::string role;  // empty: of the whole set
        LabelAnswer answer;

        std::string field(const char* name) const {
            const auto& fields = answer.readings.front().fields;
            const auto at = fields.find(name);
            return at == fields.end() ? std::string{} : at->second;
        }
    };

    // "display=26.4.102 NS": of one box.
    std::string take_role_off(LabelText& view) const {
        const auto at = view.text.find('=');
        const std::string role(trim(std::string_view(view.text).substr(0, at)));
        if (at == std::string::npos || !family_->box(role)) return "";
        view.text.erase(0, at + 1);
        return role;
    }

    void read_views() {
        std::vector<View> read;
        for (std::size_t i = 0; i < given_.views.size(); ++i) {
            const std::string where = given_.views.size() == 1 ? "view" : fmt::format("view {}", i + 1);
            if (!family_ || family_->view.pattern.empty()) {
                add("view-not-read", Verdict::cant_say,
                    family_
                        ? fmt::format("{}: the family file does not say how {} shows its release", where, family_->id)
                        : std::string("it is read by the family's rule, and the family is not known"),
                    where, "family file");
                continue;
            }
            LabelText text = given_.views[i];
            const std::string role = take_role_off(text);
            LabelAnswer a = read_label(family_->view, text, where);
            out_.judgement.add(a.judgement);
            if (a.question) ask(*a.question);
            out_.labels.push_back(a);
            if (a.taken) read.push_back({role, std::move(a)});
        }
        if (views_agree(read) && !read.empty()) take_views(read);
    }

    // Two of one box say the same; the market is one of the whole set.
    bool views_agree(const std::vector<View>& read) {
        for (std::size_t i = 0; i < read.size(); ++i)
            for (std::size_t j = 0; j < i; ++j) {
                const auto& one = read[j].answer.readings.front();
                const auto& two = read[i].answer.readings.front();
                const bool same_box = read[i].role == read[j].role;
                if (same_box ? one.fields == two.fields : read[i].field("market") == read[j].field("market")) continue;
                add("views-differ", Verdict::halt, fmt::format("the views differ: {} and {}", one.text, two.text),
                    "views", "typed");
                ask({"views",
                     "Which box shows which view? Reach both views again; one box's own is given as " +
                         family_->boxes.back().role + "=VIEW.",
                     {one.text, two.text},
                     1});
                return false;
            }
        return true;
    }

    void take_views(const std::vector<View>& read) {
        const auto whole = std::find_if(read.begin(), read.end(), [](const View& v) { return v.role.empty(); });
        std::set<std::string> all;
        for (const family::Box& b : family_->boxes) {
            auto own = std::find_if(read.begin(), read.end(), [&](const View& v) { return v.role == b.role; });
            if (own == read.end()) own = whole;
            all.insert(out_.releases[b.role] = own == read.end() ? "" : own->field("release"));
        }
        if (all.size() == 1) {
            out_.release = *all.begin();
            out_.releases.clear();
        } else {
            std::vector<std::string> shows;
            for (const auto& [role, release] : out_.releases)
                shows.push_back(role + " " + (release.empty() ? "not read" : release));
            if (all.contains(""))
                add("box-not-looked-at", Verdict::cant_say,
                    "not every box's release was read, and one view names its box alone: " + join(shows, ", "), "views",
                    "typed");
            else
                add("boxes-differ", Verdict::mind, "the boxes do not show one release: " + join(shows, ", "), "views",
                    "typed");
        }
        out_.view_fields = read.front().answer.readings.front().fields;
        out_.market = read.front().field("market");
        const auto known = family_->view.values.find("market");
        out_.market_known = known != family_->view.values.end() && known->second.contains(out_.market);
        for (const std::string& likely : family_->view.likely)
            if (const std::string value = read.front().field(likely.c_str()); !value.empty())
                add("view-only-likely", Verdict::cant_say,
                    fmt::format(
                        "that \"{}\" is the {} is only likely by the family file: what needs it stays can't say", value,
                        likely),
                    "view", "family file");
    }

    const std::vector<family::Family>& families_;
    const Given& given_;
    std::vector<std::vector<Hit>> hits_;  // by plate
    const family::Family* family_ = nullptr;
    Identity out_;
};

}  // namespace

const IdentifiedBox* Identity::box(std::string_view role) const {
    for (const IdentifiedBox& b : boxes)
        if (b.role == role) return &b;
    return nullptr;
}

Identity identify(const std::vector<family::Family>& families, const Given& given) {
    return Identifier(families, given).run();
}

}  // namespace fettle::identity
