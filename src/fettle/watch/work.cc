#include "fettle/watch/work.h"

#include <algorithm>

#include "fettle/watch/track.h"

namespace fettle::watch {

std::optional<Learnt> learn_rate(int done, std::uint64_t bytes_done, int pieces, std::uint64_t bytes, double overhead_s,
                                 double seconds) {
    const double writing_s = seconds - done * overhead_s;
    if (done <= 0 || bytes_done == 0 || !(writing_s > 0)) return std::nullopt;
    Learnt out;
    out.rate_bytes_s = static_cast<double>(bytes_done) / writing_s;
    out.total_s = pieces * overhead_s + static_cast<double>(bytes) / out.rate_bytes_s;
    return out;
}

// The last count held against the write act that it falls in, when that act's beginning was marked.
std::optional<Work> work_of(const Track& t) {
    const TallyReading* last = nullptr;
    for (const TallyReading& r : t.seen.tally) {
        if (r.landed && (!last || r.at >= last->at)) last = &r;
    }
    if (!last) return std::nullopt;
    const double at_s = static_cast<double>(last->at - t.seen.started) / 1000;
    int before = 0;
    for (std::size_t i = 0; i < t.script().size(); ++i) {
        const std::vector<const change::Line*>& lines = t.basis.writes[i];
        const int n = static_cast<int>(lines.size());
        const int done = *last->landed - before;
        before += n;
        if (n == 0 || done <= 0 || done > n) continue;
        const family::Act& act = t.script()[i];
        const auto began =
            std::find_if(t.marks.anchors.begin(), t.marks.anchors.end(), [&](const Anchor& a) { return a.act == i; });
        const family::Region* region = t.step().family.region(act.box, act.region);
        if (began == t.marks.anchors.end() || !region || at_s <= began->at_s || at_s > t.w.elapsed_s + 1)
            return std::nullopt;
        Work out;
        out.act = act.id;
        out.done = done;
        out.pieces = n;
        std::uint64_t bytes = 0, bytes_done = 0;
        for (int k = 0; k < n; ++k) {
            bytes += lines[static_cast<std::size_t>(k)]->bytes;
            if (k < done) bytes_done = bytes;
        }
        const auto learnt = learn_rate(done, bytes_done, n, bytes, region->overhead_s, at_s - began->at_s);
        if (!learnt) return std::nullopt;
        out.seconds = at_s - began->at_s;
        out.rate_bytes_s = learnt->rate_bytes_s;
        out.overhead_s = region->overhead_s;
        out.total_s = learnt->total_s;
        out.left_s = std::max(0.0, began->at_s + learnt->total_s - t.w.elapsed_s);
        out.rests_on = region->source;
        return out;
    }
    return std::nullopt;
}

}  // namespace fettle::watch
