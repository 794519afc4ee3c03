// Any bytes as lines of samples, as answers of a supply and as an address: nothing may crash, samples never run
// backwards, and no more is kept than is allowed.
#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <string_view>

#include "fettle/link/sample_lines.h"
#include "fettle/link/scpi.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    link::SampleLines lines(1000);
    UnixMs newest = 0;
    for (std::size_t at = 0; at < size;) {
        const std::size_t n = std::min<std::size_t>(1 + at % 11, size - at);
        lines.feed(text.substr(at, n), 5'000'000'000);
        at += n;
        const auto got = lines.take(5'000'000'000);
        if (!got) continue;
        for (const SupplySample& s : *got) {
            if (s.t < newest) std::abort();
            newest = s.t;
        }
    }
    if (const auto v = link::scpi::number(text); v && !std::isfinite(*v)) std::abort();
    (void)link::scpi::on_or_off(text);
    (void)link::scpi::queued_error(text);
    if (const auto a = link::scpi::parse_address(text); a && (a->volts.back() != '?' || a->amps.back() != '?'))
        std::abort();
    return 0;
}
