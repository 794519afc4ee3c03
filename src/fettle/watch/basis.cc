#include "fettle/watch/basis.h"

namespace fettle::watch {

Basis::Basis(const Step& of, bool bench) : step(of), on_bench(bench), positions(of) {
    const auto& script = step.family.script;
    for (const family::Act& a : script) {
        restarts += a.kind == family::ActKind::restart;
        writes.push_back(forecast::lines_of(step.family, step.sheet, a));
    }
    if (script.empty() || step.forecast.states.empty()) return;
    model.emplace(step, on_bench);
    typical_s.assign(script.size() + 1, 0);
    for (std::size_t i = 0; i < script.size(); ++i) {
        typical_s[i + 1] = typical_s[i];
        for (const ChainAct& a : model->chain()) {
            if (a.act == i && !a.end) typical_s[i + 1] += a.median_s;
        }
    }
}

// A thousandth of the forecast's shortest, and some room.
double Basis::earliest_s(std::size_t from, std::size_t to) const {
    double s = 0;
    for (std::size_t k = model->chain_from(from); k < model->chain_from(to); ++k) {
        if (!model->chain()[k].waits) s += model->seconds(k, 0, -3);
    }
    return 0.8 * s;
}

}  // namespace fettle::watch
