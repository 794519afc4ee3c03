#include "fettle/link/open_line.h"

#include "fettle/link/can_line.h"

namespace fettle::link {

Result<std::shared_ptr<Line>> open_line(const BoxAddress& at, Loop& loop, const Options& options, const Timing& timing,
                                        const Cancel& cancel) {
    if (at.can && at.can->kernel) {
        if (options.record)
            return usage_error("not-recorded", text_of(at), "the kernel's ISO-TP does not show its frames",
                               "leave ,kernel out of the address, or leave the recording");
        return open_kernel_isotp(at, loop);
    }
    if (at.can) return open_can(at, loop, timing, options.record);
    return open_doip(at.at, loop, options, timing, cancel);
}

}  // namespace fettle::link
