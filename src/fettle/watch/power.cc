// "If power went now": the outcomes of every position that is likely enough, from the power-cut map.
#include <map>

#include "fettle/watch/track.h"

namespace fettle::watch {
namespace {

void add(Track& t, const std::vector<std::string>& acts) {
    const cutmap::Outcomes more = t.basis.positions.over_acts(acts);
    t.w.if_power_went.insert(more.begin(), more.end());
}

// While nobody knows what it starts with after a cut, every moment of an open run counts as one without a way back.
bool not_known(Track& t) {
    if (t.step().map.boot_order_known || t.w.standing == Standing::ended) return false;
    t.say_while_open("no-way-back-now", Verdict::mind,
                     "a power cut now may leave no way back, as far as anybody knows: do not switch anything off",
                     "family file");
    return true;
}

void into_words(Track& t) {
    t.w.if_power_went_words = power_words(t.w.if_power_went);
    if (!t.step().map.boot_order_known) t.w.if_power_went_words = "can't say, the boot order is not known; keep it fed";
    if (not_known(t)) return;
    for (cutmap::Outcome o : t.w.if_power_went) {
        if (!cutmap::no_way_back(o)) continue;
        t.say_while_open("no-way-back-now", Verdict::mind,
                         "a power cut now may leave no way back: do not switch anything off", "family file");
        break;
    }
}

}  // namespace

void power_now(Track& t) {
    const Follower& f = *t.follower;
    if (t.seen.continued) {  // the map is of a whole run
        power_at_worst(t, "can't say of a run that goes on from a broken one");
        return;
    }
    if (!f.anchored() && t.w.as_slow < kSlow) {  // it should be done, and nobody has seen that it is
        power_at_worst(t, "can't say by elapsed time alone");
        return;
    }
    std::map<const cutmap::Moment*, double> moments;
    const auto& draws = t.future->now();
    const double each = draws.empty() ? 0 : f.good() / static_cast<double>(draws.size());
    double off_map = 0;
    for (const Future::Draw& d : draws) {
        const double share = d.lasts_s > 0 ? d.age_s / d.lasts_s : 0;
        const cutmap::Moment* m = t.basis.positions.moment(t.act(d.k).id, share);
        (m ? moments[m] : off_map) += each;
    }
    if (off_map > kLikely) {
        into_words(t);
        t.w.if_power_went_words = "can't say; keep it fed";
        return;
    }
    for (const auto& [m, p] : moments) {
        if (p >= kLikely) t.w.if_power_went.insert(m->outcomes.begin(), m->outcomes.end());
    }
    for (std::size_t k = 0; k < t.model->chain().size(); ++k) {
        const bool since_the_sign = t.overdue && k >= t.k && k < f.awaited();
        if (f.stuck_in(k) >= kLikely || since_the_sign) add(t, {t.act(k).id});
    }
    if (t.overdue && t.w.if_power_went == std::set{cutmap::Outcome::done}) {  // it should be, and nobody has seen it
        std::vector<std::string> since;
        const auto& script = t.script();
        for (std::size_t i = t.marks.anchors.empty() ? 0 : t.marks.anchors.back().act; i < script.size(); ++i)
            since.push_back(script[i].id);
        t.w.if_power_went = t.basis.positions.over_acts(since);
        into_words(t);
        t.w.if_power_went_words = "its end was not seen; at worst " + t.w.if_power_went_words + "; keep it fed";
        return;
    }
    into_words(t);
}

void power_at_end(Track& t) {
    add(t, {t.script().back().id});
    into_words(t);
}

void power_in_act(Track& t, const std::string& act) {
    add(t, {act});
    into_words(t);
}

void power_at_worst(Track& t, const char* because) {
    std::vector<std::string> all;
    for (const family::Act& a : t.script()) all.push_back(a.id);
    t.w.if_power_went = t.basis.positions.over_acts(all);
    t.w.if_power_went_words = because;
    if (!t.w.if_power_went.empty())
        t.w.if_power_went_words += "; at worst " + power_words({cutmap::worst(t.w.if_power_went)});
    t.w.if_power_went_words += "; keep it fed";
    not_known(t);
}

}  // namespace fettle::watch
