#include "fettle/workshop/machine_uptime.h"

#include <time.h>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

namespace fettle::workshop {

// proc(5): a random id, made anew at each start. clock_gettime(2): CLOCK_BOOTTIME counts sleep, too.
std::optional<Uptime> machine_uptime() {
    static const std::string boot = [] {
        const auto id = read_text_file("/proc/sys/kernel/random/boot_id", 64);
        return id ? std::string(trim(*id)).substr(0, 8) : std::string();
    }();
    timespec t{};
    if (boot.size() != 8 || ::clock_gettime(CLOCK_BOOTTIME, &t) != 0) return std::nullopt;
    return Uptime{boot, static_cast<double>(t.tv_sec) + static_cast<double>(t.tv_nsec / 1'000'000) / 1000};
}

}  // namespace fettle::workshop
