// Made-up releases of the example family, for tests of this room and of the rooms that build on it.
#pragma once

#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "fettle/base/source_path.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::change::test {

inline family::Family dunnock() {
    static const auto f = family::load_family(source_path("families/dunnock.toml"));  // once: it takes a while
    if (!f) throw std::runtime_error(f.error().message());
    return *f;
}

inline family::Piece piece(std::string box, std::string region, std::string name, std::string version,
                           std::uint64_t bytes = 1 << 20, std::string sha256 = {}) {
    family::Piece p{name, std::move(box), std::move(region), std::move(version), {}, {}};
    family::PieceFile file{"pieces/" + name, bytes, {}};
    if (!sha256.empty()) file.digests["sha256"] = std::move(sha256);
    p.files.push_back(std::move(file));
    return p;
}

// Two pieces in recovery, one start code, one kernel, `system` pieces of main and display each; all at `version`.
inline family::Release release(std::string name, std::string version, std::string installs_from = {},
                               std::optional<std::int64_t> counter = {}, int system = 3) {
    family::Release r;
    r.family = "dunnock";
    r.release = std::move(name);
    r.markets = {"NS"};
    r.installs_from = std::move(installs_from);
    r.counter = counter;
    r.pieces = {piece("main", "recovery", "rescue", version), piece("main", "recovery", "rescue-data", version),
                piece("main", "start", "loader", version, 100 << 10), piece("main", "kernel", "kernel", version)};
    for (int i = 0; i < system; ++i) {
        r.pieces.push_back(piece("main", "system", "app-" + std::to_string(i), version));
        r.pieces.push_back(piece("display", "system", "picture-" + std::to_string(i), version));
    }
    return r;
}

inline SetState set_at(const std::string& release, const std::string& market = "NS") {
    return {{"main", {release, "C", market, {}}}, {"display", {release, "A", market, {}}}};
}

// The four releases of the example world.
inline std::vector<family::Release> whole_shelf() {
    return {release("26.1.090", "1.0", "", 0), release("26.4.102", "2.0", "26.1.090", 1),
            release("27.1.110", "3.0", "26.4.102", 1), release("27.3.118", "4.0", "26.4.102", 1)};
}

inline const Reason* reason(const Judgement& j, const std::string& code) {
    for (const auto& r : j.reasons) {
        if (r.code == code) return &r;
    }
    return nullptr;
}

}  // namespace fettle::change::test
