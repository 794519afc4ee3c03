// A shelf of its own for each test, and what must not change when something is refused.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <clocale>
#include <csignal>
#include <thread>

#include "fettle/base/files.h"
#include "fettle/shelf/shelf.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {

using Codes = std::set<std::string>;

struct ShelfTest : testing::Test {
    void SetUp() override {
        std::setlocale(LC_CTYPE, "C.UTF-8");
        opened.emplace(Shelf::open(home).value());
    }
    Shelf& shelf() { return *opened; }

    // Refused for these reasons, and the disk is as it was.
    void expect_refused(const AddRequest& r, const Codes& codes, const family::Family& f = dunnock()) {
        const auto before = snapshot(home);
        EXPECT_EQ(refusal(shelf(), r, f), codes) << r.package;
        EXPECT_EQ(snapshot(home), before) << r.package;
        EXPECT_TRUE(shelf().list()->empty());
    }
    void expect_refused_zip(const ZipWriter& z, const Codes& codes) {
        write(t.path / "p.zip", z.finish());
        expect_refused(request(t.path / "p.zip"), codes);
    }

    TempFolder t;
    fs::path home = t.path / "shelf";
    std::optional<Shelf> opened;
};

inline std::string content_of(const Shelf& shelf, std::string_view release, std::string_view path) {
    std::string out;
    const auto ok = shelf.read("dunnock", release, path, [&](ByteView b) {
        out += as_text(b);
        return Status();
    });
    return ok ? out : ok.error().code;
}

}  // namespace fettle::shelf
