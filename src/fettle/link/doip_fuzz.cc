// Any bytes, whole and as a stream: nothing may crash, and what decodes must encode to something that decodes equal.
#include <cstdlib>

#include "fettle/link/doip.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::link::doip;
    const ByteView input(data, size);
    if (const auto m = decode(input)) {
        const auto again = decode(encode(*m));
        if (!again || !(*again == *m)) std::abort();
    }
    Splitter s(4096);
    for (std::size_t at = 0; at < size;) {
        const std::size_t n = std::min<std::size_t>(1 + at % 7, size - at);
        s.feed(input.subspan(at, n));
        at += n;
        while (s.next()) {
        }
        if (s.kept() > 4096 + header_size + 7) std::abort();
    }
    return 0;
}
