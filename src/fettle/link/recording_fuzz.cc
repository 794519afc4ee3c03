// Any bytes as a recording: nothing may crash, nothing may be longer than the file has room for, and a copy without
// names has the same length and reads the same questions.
#include <cstdlib>

#include "fettle/link/pcapng.h"
#include "fettle/link/recording.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::link;
    const ByteView input(data, size);
    if (const auto c = pcapng::read(input)) {
        std::size_t all = 0;
        for (const auto& p : c->packets) {
            all += p.data.size();
            if (p.at + p.data.size() > size) std::abort();
        }
        if (all > size) std::abort();
    }
    const auto r = read_recording(input);
    const auto clean = without_names(input);
    if (r.has_value() != clean.has_value()) std::abort();
    if (clean && clean->size() != size) std::abort();
    return 0;
}
