// The filter says how likely each place is; this says what the marks themselves say, exactly. Both are needed: a mark
// that the script cannot give must be named as that, with the reason in words, however the odds come to terms with it.
//
// The script is walked along with the marks. A sign that nobody tapped is passed over; one that has no place ahead, or
// comes far earlier than any good run would bring it, sends the run astray until somebody names the act it is in.
#include "fettle/watch/align.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr double kDouble_s = 30;  // the same tap again within this time is the same event

// A mark, or a text that only one act shows.
struct Seen {
    Event event;
    double at_s = 0;
    std::string source, name;
};

// In order of time; equal times keep the order they were made in.
std::vector<Seen> in_order(const std::vector<family::Act>& script, const Observed& seen, UnixMs now, Alignment& out) {
    std::vector<Seen> all;
    const auto clamp_s = [&](UnixMs at) {
        if (at < seen.started || at > now) ++out.odd_times;
        const UnixMs end = std::max(now, seen.started);
        return static_cast<double>(std::clamp(at, seen.started, end) - seen.started) / 1000;
    };
    for (const Mark& m : seen.marks) {
        if (!m.undone) all.push_back({event_of(script, m.event), clamp_s(m.at), m.source, m.event});
    }
    for (const ShownText& t : seen.shown) {
        const auto shows = [&](const family::Act& a) { return !a.shows.empty() && a.shows == t.text; };
        const auto only = std::find_if(script.begin(), script.end(), shows);
        if (only == script.end() || std::any_of(only + 1, script.end(), shows)) continue;
        all.push_back({event_of(script, only->id), clamp_s(t.at), "text", only->id});
    }
    std::stable_sort(all.begin(), all.end(), [](const Seen& a, const Seen& b) { return a.at_s < b.at_s; });
    return all;
}

// What a generic event points at, and how that is said when there is none.
struct Kind {
    bool (*is)(const family::Act&);
    const char *does, *happened;
    bool is_restart;  // to see it is to see the box restart
};
constexpr Kind kDark = {[](const family::Act& a) { return a.dark; }, "goes dark", "it went dark", true};
constexpr Kind kRestart = {[](const family::Act& a) { return a.kind == ActKind::restart; }, "restarts", "it restarted",
                           true};
constexpr Kind kAsk = {[](const family::Act& a) { return a.kind == ActKind::ask; }, "asks", "it asked for a hand",
                       false};

class Reader {
public:
    Reader(const std::vector<family::Act>& script, const Earliest& earliest, Alignment& out)
        : script_(script),
          several_asks_(std::count_if(script.begin(), script.end(), kAsk.is) > 1),
          earliest_(earliest),
          out_(out) {}

    void read(const Seen& s) {
        // An act's own id wins over a generic event of the same name, unless there are several of that kind: "asks"
        // then means the next one.
        if (s.event.act && !(s.event.kind == Event::Kind::asks && several_asks_)) {
            act_begins(*s.event.act, s);
        } else {
            switch (s.event.kind) {
                case Event::Kind::dark: next_of(s, kDark); break;
                case Event::Kind::restarted: next_of(s, kRestart); break;
                case Event::Kind::asks: next_of(s, kAsk); break;
                case Event::Kind::back: after_next(s, kDark, "it came back"); break;
                case Event::Kind::skipped:
                    if (stopped(s)) break;
                    [[fallthrough]];
                case Event::Kind::answered: after_next(s, kAsk, "an ask was answered or passed"); break;
                case Event::Kind::ended: end(s); break;
                case Event::Kind::unknown: out_.odd_events.push_back(s.name); return;
                // What somebody looked at, fed or asked over the link moves no act by itself.
                case Event::Kind::still:
                case Event::Kind::fed:
                case Event::Kind::link_answers:
                case Event::Kind::link_silent:
                case Event::Kind::act: return;
            }
        }
        last_ = s;
    }

private:
    bool doubled(const Seen& s) const { return last_ && last_->event == s.event && s.at_s - last_->at_s <= kDouble_s; }

    void stray(std::string why) {
        out_.astray = true;
        out_.ended = false;
        out_.why = std::move(why);
    }

    // Nobody answered: where the script says that it stops then, it stands where it asks.
    bool stopped(const Seen& s) {
        std::size_t ask = reached_;
        while (ask < script_.size() && script_[ask].kind != ActKind::ask) ++ask;
        if (out_.astray || ask == script_.size() || !stops_unanswered(script_[ask])) return false;
        if (ask != reached_ || !begun_) {
            if (too_early(ask, s, kAsk.happened)) return true;
            reach(ask, s);
        }
        out_.stopped = ask;
        out_.stopped_s = s.at_s;
        return true;
    }

    // said: by name. That it is done has to be said; what comes before it leads there and no further.
    void reach(std::size_t act, const Seen& s, bool said = true) {
        if (out_.stopped && act > *out_.stopped && script_[act].kind != ActKind::end) out_.stopped.reset();
        if (act > reached_ || out_.anchors.empty() || out_.anchors.back().act != act) {
            for (std::size_t i = reached_ + (begun_ ? 1 : 0); i < act; ++i) {
                if (script_[i].kind == ActKind::restart) ++out_.restarts_seen;  // passed without a mark
            }
            if (script_[act].kind == ActKind::restart) ++out_.restarts_seen;
        }
        begun_ = true;
        reached_ = act;
        out_.anchors.push_back({act, s.at_s, s.source});
        if (said && script_[act].kind == ActKind::end) {
            out_.ended = true;
            out_.ended_s = s.at_s;
        }
    }

    void act_begins(std::size_t act, const Seen& s) {
        if (out_.astray) {  // an explicit act says where it is again
            out_.astray = false;
            out_.why.clear();
            out_.anchors.clear();
            reached_ = act;
            begun_ = true;
            out_.anchors.push_back({act, s.at_s, s.source});
            out_.ended = script_[act].kind == ActKind::end;
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
            stray(fmt::format("it {} again, after it had come as far as \"{}\"", script_[act].words,
                              script_[reached_].words));
            return;
        }
        reach(act, s);
    }

    void next_of(const Seen& s, const Kind& kind) {
        if (out_.astray) return;
        if (begun_ && kind.is(script_[reached_])) {
            ++out_.doubles;
            return;
        }
        for (std::size_t i = reached_ + (begun_ ? 1 : 0); i < script_.size(); ++i) {
            if (!kind.is(script_[i])) continue;
            if (too_early(i, s, kind.happened)) return;
            reach(i, s);
            return;
        }
        if (kind.is_restart || script_[reached_].kind == ActKind::restart) ++out_.restarts_seen;
        stray(fmt::format("{}, and the script has nothing left that {}", kind.happened, kind.does));
    }

    // Two people, or one twice, in different words: the act that follows such a moment was named just before.
    bool named_just_now(const Seen& s, const Kind& kind) const {
        return begun_ && reached_ > 0 && kind.is(script_[reached_ - 1]) && !kind.is(script_[reached_]) &&
               !out_.anchors.empty() && s.at_s - out_.anchors.back().at_s <= kDouble_s;
    }

    void after_next(const Seen& s, const Kind& kind, const char* happened) {
        if (out_.astray) return;
        if (doubled(s) || named_just_now(s, kind)) {
            ++out_.doubles;
            return;
        }
        for (std::size_t i = reached_; i + 1 < script_.size(); ++i) {
            if (!kind.is(script_[i])) continue;
            const bool inside = i == reached_ && begun_;
            if (!inside && too_early(i + 1, s, happened)) return;
            std::size_t after = i + 1;
            while (after + 1 < script_.size() && kind.is(script_[after])) ++after;  // a gap may span several acts
            reach(after, s, false);
            return;
        }
        stray(fmt::format("{}, and the script has no such moment left", happened));
    }

    void end(const Seen& s) {
        if (out_.ended) {
            ++out_.doubles;
            return;
        }
        out_.astray = false;
        out_.why.clear();
        for (std::size_t i = script_.size(); i-- > 0;) {
            if (script_[i].kind == ActKind::end) {
                reach(i, s);
                return;
            }
        }
        reached_ = script_.size() - 1;
        out_.ended = true;
        out_.ended_s = s.at_s;
    }

    bool too_early(std::size_t act, const Seen& s, const char* happened) {
        const double from_s = out_.anchors.empty() ? 0 : out_.anchors.back().at_s;
        const double earliest = earliest_(out_.anchors.empty() ? 0 : out_.anchors.back().act, act);
        if (s.at_s - from_s >= earliest) return false;
        if (script_[act].kind == ActKind::restart || script_[act].dark) ++out_.restarts_seen;
        stray(fmt::format("{} far earlier than any good run would", happened));
        return true;
    }

    const std::vector<family::Act>& script_;
    bool several_asks_;
    const Earliest& earliest_;
    Alignment& out_;
    std::size_t reached_ = 0;
    bool begun_ = false;  // the act reached was marked by itself
    std::optional<Seen> last_;
};

}  // namespace

bool stops_unanswered(const family::Act& ask) {
    return ask.kind == ActKind::ask && std::any_of(ask.answers.begin(), ask.answers.end(), [](const family::Answer& a) {
               return a.how == "nothing" && a.leads_to == "stops";
           });
}

Alignment align(const std::vector<family::Act>& script, const Observed& seen, UnixMs now, const Earliest& earliest_s) {
    Alignment out;
    Reader reader(script, earliest_s, out);
    for (const Seen& s : in_order(script, seen, now, out)) reader.read(s);
    return out;
}

}  // namespace fettle::watch
