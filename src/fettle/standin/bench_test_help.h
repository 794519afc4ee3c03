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

#include "fettle/base/source_path.h"
#include "fettle/card/block_device.h"
#include "fettle/card/lay.h"
#include "fettle/standin/box.h"
#include "fettle/standin/maker.h"

namespace fettle::standin::testing {

inline constexpr std::uint64_t seed = 7;

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

// One example family: its file, its releases in memory and as laid cards, its example plates.
class Bench {
public:
    explicit Bench(const std::string& id) {
        auto loaded = family::load_family(source_path("families/") + id + ".toml");
        if (!loaded) throw std::runtime_error(loaded.error().message());
        family = std::make_shared<const family::Family>(std::move(*loaded));
        for (const auto& b : family->boxes) plates[b.role] = b.plate.examples.front();
    }
    std::shared_ptr<const family::Family> family;
    std::map<std::string, std::string> plates;  // role → plate

    ReleaseSpec spec(const std::string& release) const {
        for (auto& s : example_history(family->id, 400'000))
            if (s.release == release) return s;
        throw std::runtime_error("no such release");
    }
    const family::Release& described(const std::string& release) {
        if (!known_.contains(release)) known_[release] = describe(*family, spec(release), seed).value();
        return known_[release];
    }
    // Lays a package made from this specification on a sparse image; `spoil` may change the files first.
    std::unique_ptr<card::BlockDevice> card_of(const ReleaseSpec& s,
                                               const std::function<void(const std::filesystem::path&)>& spoil = {}) {
        namespace fs = std::filesystem;
        const fs::path folder = work_folder() / (family->id + std::to_string(++number_));
        const auto release = make_package(*family, s, seed, folder).value();
        if (spoil) spoil(folder);
        const std::string prefix = card::card_prefix(*family);
        std::vector<card::SourceFile> files;
        for (const auto& e : fs::recursive_directory_iterator(folder))
            if (e.is_regular_file())
                files.push_back(card::source_from_file(prefix + fs::relative(e.path(), folder).generic_string(),
                                                       e.path(), e.file_size(), ""));
        std::sort(files.begin(), files.end(), [](const auto& x, const auto& y) { return x.path < y.path; });
        const fs::path image = folder.string() + ".img";
        const auto laid = card::lay_image(files, *family->card, 0, release.index_sha256, image, false);
        fs::remove_all(folder);
        if (!laid) throw std::runtime_error(laid.error().message());
        return card::open_for_reading(image).value();
    }
    card::BlockDevice& card_for(const std::string& release) {
        auto& c = cards_[release];
        if (!c) c = card_of(spec(release));
        return *c;
    }
    // Somebody stands by, unless `change` says otherwise.
    VirtualSet set_at(const std::string& release, std::uint64_t nature = 1,
                      const std::function<void(StartState&)>& change = {}) {
        StartState s = start_at(*family, described(release), plates, "NS").value();
        s.answers_asks = true;
        if (change) change(s);
        return VirtualSet::make(family, std::move(s), nature).value();
    }
    VirtualSet started(const std::string& from, const std::string& to, std::uint64_t nature = 1,
                       const std::function<void(StartState&)>& change = {}) {
        auto s = set_at(from, nature, change);
        s.insert_card(card_for(to));
        if (auto begun = s.start_update(); !begun) throw std::runtime_error(begun.error().message());
        return s;
    }

private:
    std::map<std::string, family::Release> known_;
    std::map<std::string, std::unique_ptr<card::BlockDevice>> cards_;
    int number_ = 0;
};

// Made once per test binary.
inline Bench& bench(const std::string& id) {
    static std::map<std::string, Bench> benches;
    const auto at = benches.find(id);
    return at != benches.end() ? at->second : benches.try_emplace(id, id).first->second;
}

// The set of two boxes, for tests that need no particular family.
inline std::shared_ptr<const family::Family> dunnock() {
    return bench("dunnock").family;
}
inline ReleaseSpec spec(const std::string& release) {
    return bench("dunnock").spec(release);
}
inline const family::Release& described(const std::string& release) {
    return bench("dunnock").described(release);
}
inline std::unique_ptr<card::BlockDevice> card_of(const ReleaseSpec& s,
                                                  const std::function<void(const std::filesystem::path&)>& spoil = {}) {
    return bench("dunnock").card_of(s, spoil);
}
inline card::BlockDevice& card_for(const std::string& release) {
    return bench("dunnock").card_for(release);
}
inline const std::map<std::string, std::string> plates{{"main", "6104183C5"}, {"display", "6402207A4"}};
inline VirtualSet set_at(const std::string& release, std::uint64_t nature = 1,
                         const std::function<void(StartState&)>& change = {}) {
    return bench("dunnock").set_at(release, nature, change);
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
