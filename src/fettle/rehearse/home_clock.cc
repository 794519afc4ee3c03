#include "fettle/rehearse/home_clock.h"

#include <fmt/core.h>

#include <algorithm>
#include <fstream>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/json.h"

namespace fettle::rehearse {
namespace fs = std::filesystem;
namespace {

constexpr const char* kFile = "rehearsal-clock.json";

class HomeClock final : public Clock {
public:
    HomeClock(fs::path file, UnixMs first) : file_(std::move(file)), last_(first) {}

    // Read each time: the rehearsal goes on meanwhile. Never runs backwards.
    UnixMs now() const override {
        const auto text = read_text_file(file_, 4096);
        const auto parsed = text ? parse_json(*text, kFile) : Result<json::value>(json::value());
        if (!parsed || !parsed->is_object()) return last_;
        const json::object& o = parsed->as_object();
        const double passed = static_cast<double>(SystemClock().now()) - number_of(o, "real_ms");
        const double virtual_ms = number_of(o, "virtual_ms") + std::max(0.0, passed) * number_of(o, "speed");
        const double until = number_of(o, "until_ms");
        last_ = std::max(last_, static_cast<UnixMs>(std::clamp(virtual_ms, 0.0, std::max(0.0, until))));
        return last_;
    }

private:
    fs::path file_;
    mutable UnixMs last_;
};

}  // namespace

void tell_time(const fs::path& home, UnixMs now, UnixMs until, double speed) {
    const fs::path file = home / kFile, made = home / fmt::format("{}.new", kFile);
    {
        std::ofstream out(made, std::ios::trunc);
        out << fmt::format("{{\"virtual_ms\": {}, \"until_ms\": {}, \"speed\": {}, \"real_ms\": {}}}\n", now, until,
                           speed, SystemClock().now());
        if (!out.flush()) return;
    }
    std::error_code ec;
    fs::rename(made, file, ec);
}

std::unique_ptr<Clock> home_clock(const fs::path& home) {
    std::error_code ec;
    const fs::path file = home / kFile;
    if (!fs::is_regular_file(file, ec)) return nullptr;
    return std::make_unique<HomeClock>(file, 0);
}

}  // namespace fettle::rehearse
