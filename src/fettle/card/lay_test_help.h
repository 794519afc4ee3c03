// Files to lay, and the card read back by the reader.
#pragma once

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <fstream>

#include "fettle/card/fat_names.h"
#include "fettle/card/lay.h"
#include "fettle/card/test_cards.h"

namespace fettle::card {

namespace fs = std::filesystem;
using test::Content;

struct Folder {  // a temporary one
    fs::path path;
    Folder() {
        std::string name = (fs::temp_directory_path() / "fettle-card-XXXXXX").string();
        path = ::mkdtemp(name.data());
    }
    ~Folder() { fs::remove_all(path); }
    std::vector<std::string> names() const {
        std::vector<std::string> out;
        for (const auto& e : fs::directory_iterator(path)) out.push_back(e.path().filename());
        std::sort(out.begin(), out.end());
        return out;
    }
};

inline const family::CardRule plain;
inline const std::string digest = sha256_hex(std::string_view("a release"));

inline std::vector<Content> some_files() {
    return {{"first.bin", test::noise(1, 100000)},
            {"Folder/empty", {}},
            {"Folder/inner/second.bin", test::noise(2, 512)},
            {"\xE8\xAA\x9E \xF0\x9F\x98\x80.bin", test::noise(3, 513)}};
}

inline std::vector<Content> read_back(BlockDevice& device) {
    auto volume = Volume::open(device);
    EXPECT_TRUE(volume) << volume.error().message();
    const auto listing = volume->list(true);
    EXPECT_TRUE(listing && listing->flaws.empty());
    EXPECT_EQ(listing->clusters_lost, 0u);
    std::vector<Content> out;
    for (const auto& n : listing->nodes) {
        EXPECT_TRUE(n.whole);
        if (!n.folder) out.emplace_back(n.path, *volume->read_all(n, 1u << 30));
    }
    std::sort(out.begin(), out.end());
    return out;
}

}  // namespace fettle::card
