// A workshop in a folder of its own, with a clock that stands where the test puts it and the example families. For
// tests.
#pragma once

#include <gtest/gtest.h>
#include <stdlib.h>

#include <filesystem>
#include <string>

#include "fettle/base/source_path.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

class StandingClock final : public Clock {
public:
    UnixMs at = 1'700'000'000'000;
    UnixMs now() const override { return at; }
};

class TestWorkshop {
public:
    TestWorkshop() {
        std::string name = (std::filesystem::temp_directory_path() / "fettle-workshop-XXXXXX").string();
        if (!::mkdtemp(name.data())) throw std::runtime_error("no temporary folder");
        folder = name;
        shop.home = folder / "home";
        shop.examples = source_path("families");
        shop.clock = &clock;
    }
    ~TestWorkshop() { std::filesystem::remove_all(folder); }
    TestWorkshop(const TestWorkshop&) = delete;
    TestWorkshop& operator=(const TestWorkshop&) = delete;

    std::filesystem::path folder;
    StandingClock clock;
    Workshop shop;
};

}  // namespace fettle::workshop
