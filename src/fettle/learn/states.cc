// The states of a run whose script nobody has written: from one sign to the next. What the box does in them stays
// unknown; only that it was dark, restarted, or asked is known, for that is what the signs say.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/family/edit.h"
#include "fettle/learn/lines.h"

namespace fettle::learn {
namespace {

using family::Act;
using family::ActKind;

constexpr double kNothing_s = 0.05;  // between two signs of one instant is no state

class Reader {
public:
    Reader(const family::Family& family, const Seen& seen, std::vector<std::string>& odd)
        : box_(family.boxes.empty() ? "all" : family.boxes.front().role), seen_(seen), odd_(odd) {
        open("works", ActKind::wait, "works; what it does is not known", 0);
    }

    void sign(const watch::Mark& m) {
        const double at = seconds(m.at);
        if (m.event == "dark") {
            if (now_.act.dark) return;
            open("dark", ActKind::wait, "is dark", at);
            now_.act.dark = true;
        } else if (m.event == "restarted") {
            if (now_.act.kind == ActKind::restart) return;
            if (now_.act.dark) {  // the dark was that of a restart
                now_.act.kind = ActKind::restart;
                now_.act.words = "restarts, dark";
                now_.act.id = fmt::format("restart-{}", ++count_["restart"]);
                --count_["dark"];
                stem_ = "restart";
            } else {
                open("restart", ActKind::restart, "restarts", at);
            }
        } else if (m.event == "back") {
            if (!now_.act.dark && now_.act.kind != ActKind::restart)
                return say(at, "it came back, and had not been marked dark");
            open("works", ActKind::wait, "works; what it does is not known", at);
        } else if (m.event == "asks") {
            if (now_.act.kind == ActKind::ask) return;
            open("asks", ActKind::ask, "asks for a hand", at);
        } else if (m.event == "answered" || m.event == "skipped") {
            if (now_.act.kind != ActKind::ask) return say(at, "an ask was answered, and had not been marked");
            answer(m, at);
            open("works", ActKind::wait, "works; what it does is not known", at);
        }
    }

    std::vector<State> end(double at) {
        close(at);
        if (!out_.empty()) {
            State last;
            last.act.id = "end";
            last.act.kind = ActKind::end;
            last.act.box = box_;
            last.act.words = "says that it is done";
            last.from_s = last.to_s = at;
            out_.push_back(std::move(last));
        }
        return std::move(out_);
    }

private:
    double seconds(UnixMs at) const { return std::max(0.0, static_cast<double>(at - seen_.observed.started) / 1000); }

    void say(double at, const char* what) { odd_.push_back(fmt::format("at {:.0f} s {}", at, what)); }

    void close(double at) {
        now_.to_s = at;
        if (now_.to_s - now_.from_s < kNothing_s) {
            --count_[stem_];
            return;
        }
        for (const watch::ShownText& t : seen_.observed.shown) {
            const double s = seconds(t.at);
            if (now_.act.kind == ActKind::ask && s >= now_.from_s - 1 && s < now_.to_s) now_.act.shows = t.text;
        }
        out_.push_back(now_);
    }

    void open(const std::string& stem, ActKind kind, const char* words, double at) {
        if (!stem_.empty()) close(at);
        stem_ = stem;
        now_ = State();
        now_.act.id = fmt::format("{}-{}", stem, ++count_[stem]);
        now_.act.kind = kind;
        now_.act.box = box_;
        now_.act.words = words;
        now_.from_s = at;
    }

    void answer(const watch::Mark& m, double at) {
        Act& a = now_.act;
        if (m.event == "skipped") {
            a.answers.push_back({"nothing", std::max(1.0, std::round(at - now_.from_s)), "goes on"});
            return;
        }
        for (const Seen::Reply& r : seen_.replies) {
            if (r.at != m.at || r.how.empty() || r.how == "card") continue;  // which card is not said
            a.control = r.how == "turn" || r.how == "press" ? "knob" : r.how;
            a.answers.push_back({r.how == "touch" ? "press" : r.how, 0, "goes on"});
            if (a.control == "touch") a.area = r.area;
        }
    }

    std::string box_;
    const Seen& seen_;
    std::vector<std::string>& odd_;
    std::vector<State> out_;
    State now_;
    std::string stem_;
    std::map<std::string, int> count_;
};

}  // namespace

std::vector<watch::Mark> in_order(const std::vector<watch::Mark>& marks) {
    std::vector<std::pair<UnixMs, std::size_t>> order;
    for (const watch::Mark& m : marks) order.emplace_back(m.at, order.size());
    std::sort(order.begin(), order.end());
    std::vector<watch::Mark> out;
    for (const auto& [at, place] : order) out.push_back(marks[place]);
    return out;
}

std::vector<State> states_of(const family::Family& family, const Seen& seen, std::vector<std::string>& odd) {
    Reader reader(family, seen, odd);
    for (const watch::Mark& m : in_order(seen.observed.marks))
        if (m.at <= seen.ended) reader.sign(m);
    return reader.end(static_cast<double>(seen.ended - seen.observed.started) / 1000);
}

std::string act_block(const family::Act& a, const std::string& remark) {
    using family::toml_number;
    using family::toml_text;
    std::string out = "[[act]]";
    if (!remark.empty()) out += "  # " + remark;
    out += fmt::format("\nid = {}\nkind = {}\nbox = {}\nwords = {}\n", toml_text(a.id),
                       toml_text(std::string(family::words(a.kind))), toml_text(a.box), toml_text(a.words));
    if (a.kind == ActKind::restart) out += "into = \"either\"  # what starts was not seen\n";
    if (a.dark) out += "dark = true\n";
    if (!a.shows.empty()) out += fmt::format("shows = {}\n", toml_text(a.shows));
    if (a.kind == ActKind::ask) {
        if (!a.control.empty())
            out += fmt::format("control = {}\n", toml_text(a.control));
        else
            out += "# control: unknown. Nobody marked with what it was answered\n";
        if (!a.area.empty()) out += fmt::format("area = {}\n", toml_text(a.area));
        std::vector<std::string> answers;
        for (const family::Answer& x : a.answers)
            answers.push_back(x.how == "nothing"
                                  ? fmt::format("{{ how = \"nothing\", after_s = {}, leads_to = \"{}\" }}",
                                                toml_number(x.after_s), x.leads_to)
                                  : fmt::format("{{ how = {}, leads_to = \"{}\" }}", toml_text(x.how), x.leads_to));
        if (!answers.empty()) out += fmt::format("answers = [{}]\n", join(answers, ", "));
    }
    if (a.seconds) {
        std::vector<std::string> seen;
        for (const double s : a.seconds->seen_s) seen.push_back(toml_number(s));
        out += fmt::format("seconds = {{ median = {}, p90 = {}, source = {}, seen = [{}] }}\n",
                           toml_number(a.seconds->median_s), toml_number(a.seconds->p90_s),
                           toml_text(a.seconds->source.words()), join(seen, ", "));
    }
    if (a.current)
        out += fmt::format("current = {{ mean_A = {:.2f}, p99_A = {:.2f}, source = {} }}\n", a.current->mean_A,
                           a.current->p99_A, toml_text(a.current->source.words()));
    return out;
}

}  // namespace fettle::learn
