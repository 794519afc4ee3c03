// For tests: the example family, its history in memory and laid cards, made once per test binary.
#pragma once

#include <stdlib.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <stdexcept>
#include <string>
#include <vector>

#include "fettle/card/block_device.h"
#include "fettle/card/lay.h"
#include "fettle/standin/box.h"
#include "fettle/standin/maker.h"

namespace fettle::standin::testing {

inline constexpr std::uint64_t seed = 7;

inline std::shared_ptr<const family::Family> dunnock() {
    static const auto f = [] {
        auto r = family::load_family(FETTLE_SOURCE_DIR "/families/dunnock.toml");
        if (!r) throw std::runtime_error(r.error().message());
        return std::make_shared<const family::Family>(std::move(*r));
    }();
    return f;
}

inline ReleaseSpec spec(const std::string& release) {
    for (auto& s : dunnock_history(400'000))
        if (s.release == release) return s;
    throw std::runtime_error("no such release");
}

inline family::Release described(const std::string& release) {
    static std::map<std::string, family::Release> known;
    if (!known.contains(release)) known[release] = describe(*dunnock(), spec(release), seed).value();
    return known[release];
}

// A folder that lives as long as the test binary.
inline const std::filesystem::path& work_folder() {
    struct Folder {
        std::filesystem::path path;
        Folder() {
            std::string name = (std::filesystem::temp_directory_path() / "fettle-standin-XXXXXX").string();
            if (!mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
            path = name;
        }
        ~Folder() {
            std::error_code ignored;
            std::filesystem::remove_all(path, ignored);
        }
    };
    static const Folder folder;
    return folder.path;
}

// Lays a package made from this specification on a sparse image; `spoil` may change the files first.
inline std::unique_ptr<card::BlockDevice> card_of(const ReleaseSpec& s,
                                                  const std::function<void(const std::filesystem::path&)>& spoil = {}) {
    namespace fs = std::filesystem;
    static int number = 0;
    const fs::path folder = work_folder() / std::to_string(++number);
    const auto release = make_package(*dunnock(), s, seed, folder).value();
    if (spoil) spoil(folder);
    std::vector<card::SourceFile> files;
    for (const auto& e : fs::recursive_directory_iterator(folder))
        if (e.is_regular_file())
            files.push_back(
                card::source_from_file(fs::relative(e.path(), folder).generic_string(), e.path(), e.file_size(), ""));
    std::sort(files.begin(), files.end(), [](const auto& x, const auto& y) { return x.path < y.path; });
    const fs::path image = work_folder() / (std::to_string(number) + ".img");
    const auto laid = card::lay_image(files, *dunnock()->card, 0, release.index_sha256, image, false);
    fs::remove_all(folder);
    if (!laid) throw std::runtime_error(laid.error().message());
    return card::open_for_reading(image).value();
}

inline card::BlockDevice& card_for(const std::string& release) {
    static std::map<std::string, std::unique_ptr<card::BlockDevice>> known;
    auto& c = known[release];
    if (!c) c = card_of(spec(release));
    return *c;
}

inline const std::map<std::string, std::string> plates{{"main", "6104183C5"}, {"display", "6402207A4"}};

inline VirtualSet set_at(const std::string& release, std::uint64_t nature = 1,
                         const std::function<void(StartState&)>& change = {}) {
    StartState s = start_at(*dunnock(), described(release), plates, "NS").value();
    s.answers_asks = true;
    if (change) change(s);
    return VirtualSet::make(dunnock(), std::move(s), nature).value();
}

// To the end of the run or until it stands still; everything that was seen.
inline std::vector<Event> run_out(VirtualSet& s) {
    std::vector<Event> all;
    for (int i = 0; i < 10000; ++i) {
        auto some = s.advance_to_next(86400);
        if (some.empty()) break;
        all.insert(all.end(), some.begin(), some.end());
        if (all.back().kind == EventKind::ended) break;
    }
    return all;
}

// Advances until this act is reached; false when the run ended before.
inline bool run_to(VirtualSet& s, const std::string& act) {
    for (int i = 0; i < 100000 && s.running() && s.position().act != act; ++i) s.advance_to_next(86400);
    return s.position().act == act;
}

}  // namespace fettle::standin::testing
