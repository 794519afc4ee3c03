#include "fettle/ready/cautions.h"

#include <gtest/gtest.h>

#include <fstream>
#include <sstream>

#include "fettle/base/source_path.h"

namespace fettle::ready {
namespace {

TEST(Cautions, StandInTheDocumentWordForWord) {
    std::ifstream in(source_path("docs/cautions.md"));
    ASSERT_TRUE(in);
    std::stringstream text;
    text << in.rdbuf();
    for (const Caution& c : cautions()) EXPECT_NE(text.str().find(c.text), std::string::npos) << c.id;
}
TEST(Cautions, DeferToMakersRulesOrLicensedPeople) {
    for (const Caution& c : cautions()) {
        const bool defers = c.text.find("maker") != std::string::npos || c.text.find("local") != std::string::npos ||
                            c.text.find("licensed") != std::string::npos;
        EXPECT_TRUE(defers) << c.id;
    }
}

}  // namespace
}  // namespace fettle::ready
