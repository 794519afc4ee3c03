#include "fettle/watch/follow.h"

#include "fettle/watch/following.h"
#include "fettle/watch/picture.h"

namespace fettle::watch {

struct Follow::Held {
    Held(std::shared_ptr<const Against> of, const Observed& seen, CallRule r)
        : against(std::move(of)), run(against->step(), seen), rule(r) {}

    std::shared_ptr<const Against> against;
    Following run;
    CallRule rule;

    Picture picture(const Where& where) const {
        return watch::picture(run.basis().step, run.basis().positions, run.seen(), where, run.amps().points());
    }
};

Follow::Follow(std::shared_ptr<const Against> against, const Observed& run, CallRule rule)
    : held_(std::make_unique<Held>(std::move(against), run, rule)) {}
Follow::~Follow() = default;
Follow::Follow(Follow&&) noexcept = default;
Follow& Follow::operator=(Follow&&) noexcept = default;

void Follow::see(Observed seen) {
    held_->run.see(std::move(seen));
}

Where Follow::tick(UnixMs now) {
    return held_->run.tick(now, held_->rule);
}

std::vector<std::string> Follow::strip(const Where& where, const StripStyle& style) const {
    return draw_strip(held_->picture(where), where, style);
}

std::string Follow::strip_svg(const Where& where) const {
    return draw_strip_svg(held_->picture(where), where);
}

const Against& Follow::against() const {
    return *held_->against;
}

Where track(const Step& step, const Observed& seen, UnixMs now, const CallRule& rule) {
    Following run(step, seen);
    run.see(seen);
    return run.tick(now, rule);
}

}  // namespace fettle::watch
