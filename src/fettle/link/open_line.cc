#include "fettle/link/open_line.h"

namespace fettle::link {

Result<std::shared_ptr<Line>> open_line(const BoxAddress& at, Loop& loop, const Options& options, const Timing& timing,
                                        const Cancel& cancel) {
    return open_doip(at.at, loop, options, timing, cancel);
}

}  // namespace fettle::link
