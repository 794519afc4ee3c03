// Staying with a run: what it is held against is held here, the filter keeps running, and a tick costs the same in the
// first second and in the fortieth minute. What is noted late, said to be earlier or taken back is played again only
// as far as it must be, with the very answer that track() gives from the beginning. Pure: it asks no clock and touches
// no file; the same input and the same `now` give the same answer. One thread at a time.
//
// This is also the one place that says what it means that a run was broken off (Observed::state): it stands as it was
// at that moment, and nothing is asked for it any more. When it was is in the journal: book::Run::outcome.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "fettle/watch/strip.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

class Follow {
public:
    // Of the run only when and where it began is taken here; see() brings the rest.
    Follow(std::shared_ptr<const Against> against, const Observed& run, CallRule rule = {});
    ~Follow();
    Follow(Follow&&) noexcept;
    Follow& operator=(Follow&&) noexcept;

    // All that was noted of the run so far, as its journal has it now, and of the supply what was measured since the
    // last call (in any order). `started` and `on_bench` stay what they were.
    void see(Observed seen);

    // Where it is. `now` may go back as well as on.
    Where tick(UnixMs now);

    // The pictures of an answer that tick() gave last.
    std::vector<std::string> strip(const Where& where, const StripStyle& style = {}) const;
    std::string strip_svg(const Where& where) const;

    const Against& against() const;

private:
    struct Held;
    std::unique_ptr<Held> held_;
};

}  // namespace fettle::watch
