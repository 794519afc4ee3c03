#include "fettle/watch/align.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr double kDouble_s = 30;  // the same tap again within this time is the same event

struct Sign {
    std::string event;
    double at_s = 0;
    std::string source;
    std::size_t order = 0;  // in which they were made: equal times keep it
};

// Marks and telling texts in order of time; equal times keep the order they were made in.
std::vector<Sign> signs_of(const std::vector<const family::Act*>& acts, const Observed& seen, UnixMs now,
                           Alignment& out) {
    std::vector<Sign> signs;
    const auto clamp_s = [&](UnixMs at) {
        if (at < seen.started || at > now) ++out.odd_times;
        const UnixMs end = std::max(now, seen.started);
        return static_cast<double>(std::clamp(at, seen.started, end) - seen.started) / 1000;
    };
    for (const Mark& m : seen.marks) {
        if (!m.undone) signs.push_back({m.event, clamp_s(m.at), m.source, signs.size()});
    }
    for (const ShownText& t : seen.shown) {
        const family::Act* only = nullptr;
        int n = 0;
        for (const family::Act* a : acts) {
            if (!a->shows.empty() && a->shows == t.text) only = a, ++n;
        }
        if (n == 1) signs.push_back({only->id, clamp_s(t.at), "text", signs.size()});
    }
    std::sort(signs.begin(), signs.end(),
              [](const Sign& a, const Sign& b) { return a.at_s != b.at_s ? a.at_s < b.at_s : a.order < b.order; });
    return signs;
}

class Reader {
public:
    Reader(const std::vector<const family::Act*>& acts, const Earliest& earliest, Alignment& out)
        : acts_(acts), earliest_(earliest), out_(out) {}

    void read(const Sign& s) {
        out_.last_mark_s = s.at_s;
        if (const auto id = index_of(s.event)) {
            act_begins(*id, s);
        } else if (s.event == "dark") {
            next_of(s, [](const family::Act& a) { return a.dark; }, "goes dark", "it went dark");
        } else if (s.event == "restarted") {
            next_of(s, [](const family::Act& a) { return a.kind == ActKind::restart; }, "restarts", "it restarted");
        } else if (s.event == "asks") {
            next_of(s, [](const family::Act& a) { return a.kind == ActKind::ask; }, "asks", "it asked for a hand");
        } else if (s.event == "back") {
            after_next(s, [](const family::Act& a) { return a.dark; }, "it came back");
        } else if (s.event == "answered" || s.event == "skipped") {
            after_next(s, [](const family::Act& a) { return a.kind == ActKind::ask; }, "an ask was answered or passed");
        } else if (s.event == "ended") {
            end(s);
        } else {
            out_.odd_events.push_back(s.event);
            return;
        }
        last_ = s;
    }

private:
    using Is = bool (*)(const family::Act&);

    // An act's own id wins over a generic event of the same name, unless the script has several of that kind: "asks"
    // then means the next one.
    std::optional<std::size_t> index_of(const std::string& event) const {
        std::optional<std::size_t> at;
        for (std::size_t i = 0; i < acts_.size(); ++i) {
            if (acts_[i]->id == event) at = i;
        }
        if (at && event == "asks" &&
            std::count_if(acts_.begin(), acts_.end(), [](auto* a) { return a->kind == ActKind::ask; }) > 1) {
            return std::nullopt;
        }
        return at;
    }

    bool doubled(const Sign& s) const { return last_ && last_->event == s.event && s.at_s - last_->at_s <= kDouble_s; }

    void stray(std::string why) {
        out_.astray = true;
        out_.ended = false;
        out_.why = std::move(why);
    }

    void reach(std::size_t act, const Sign& s) {
        if (act > reached_ || out_.anchors.empty() || out_.anchors.back().act != act) {
            for (std::size_t i = reached_ + (begun_ ? 1 : 0); i < act; ++i) {
                if (acts_[i]->kind == ActKind::restart) ++out_.restarts_seen;  // passed without a mark
            }
            if (acts_[act]->kind == ActKind::restart) ++out_.restarts_seen;
        }
        begun_ = true;
        reached_ = act;
        out_.anchors.push_back({act, s.at_s, s.source});
        if (acts_[act]->kind == ActKind::end) {
            out_.ended = true;
            out_.ended_s = s.at_s;
        }
    }

    void act_begins(std::size_t act, const Sign& s) {
        if (out_.astray) {  // an explicit act says where it is again
            out_.astray = false;
            out_.why.clear();
            out_.anchors.clear();
            reached_ = act;
            begun_ = true;
            out_.anchors.push_back({act, s.at_s, s.source});
            out_.ended = acts_[act]->kind == ActKind::end;
            out_.ended_s = s.at_s;
            return;
        }
        if (act == reached_ && (begun_ || act == 0)) {
            if (begun_)
                ++out_.doubles;
            else
                reach(act, s);
            return;
        }
        if (act < reached_) {
            stray(fmt::format("it {} again, after it had come as far as \"{}\"", acts_[act]->words,
                              acts_[reached_]->words));
            return;
        }
        reach(act, s);
    }

    void next_of(const Sign& s, Is is, const char* wanted, const char* happened) {
        if (out_.astray) return;
        if (begun_ && is(*acts_[reached_])) {
            ++out_.doubles;
            return;
        }
        for (std::size_t i = reached_ + (begun_ ? 1 : 0); i < acts_.size(); ++i) {
            if (!is(*acts_[i])) continue;
            if (too_early(i, s, happened)) return;
            reach(i, s);
            return;
        }
        if (acts_[reached_]->kind == ActKind::restart || std::string_view(wanted) != "asks") ++out_.restarts_seen;
        stray(fmt::format("{}, and the script has nothing left that {}", happened, wanted));
    }

    void after_next(const Sign& s, Is is, const char* happened) {
        if (out_.astray) return;
        if (doubled(s)) {
            ++out_.doubles;
            return;
        }
        for (std::size_t i = reached_; i + 1 < acts_.size(); ++i) {
            if (!is(*acts_[i])) continue;
            const bool inside = i == reached_ && begun_;
            if (!inside && too_early(i + 1, s, happened)) return;
            std::size_t after = i + 1;
            while (after + 1 < acts_.size() && is(*acts_[after])) ++after;  // a gap may span several acts
            reach(after, s);
            return;
        }
        stray(fmt::format("{}, and the script has no such moment left", happened));
    }

    void end(const Sign& s) {
        if (out_.ended) {
            ++out_.doubles;
            return;
        }
        out_.astray = false;
        out_.why.clear();
        for (std::size_t i = acts_.size(); i-- > 0;) {
            if (acts_[i]->kind == ActKind::end) {
                reach(i, s);
                return;
            }
        }
        reached_ = acts_.size() - 1;
        out_.ended = true;
        out_.ended_s = s.at_s;
    }

    bool too_early(std::size_t act, const Sign& s, const char* happened) {
        const double from_s = out_.anchors.empty() ? 0 : out_.anchors.back().at_s;
        const double earliest = earliest_(out_.anchors.empty() ? 0 : out_.anchors.back().act, act);
        if (s.at_s - from_s >= earliest) return false;
        if (acts_[act]->kind == ActKind::restart || acts_[act]->dark) ++out_.restarts_seen;
        stray(fmt::format("{} far earlier than any good run would", happened));
        return true;
    }

    const std::vector<const family::Act*>& acts_;
    const Earliest& earliest_;
    Alignment& out_;
    std::size_t reached_ = 0;
    bool begun_ = false;  // the act reached was marked by itself
    std::optional<Sign> last_;
};

}  // namespace

Alignment align(const std::vector<const family::Act*>& acts, const Observed& seen, UnixMs now,
                const Earliest& earliest_s) {
    Alignment out;
    Reader reader(acts, earliest_s, out);
    for (const Sign& s : signs_of(acts, seen, now, out)) reader.read(s);
    return out;
}

}  // namespace fettle::watch
