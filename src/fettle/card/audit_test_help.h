// Cards in memory, and their audit.
#pragma once

#include <gtest/gtest.h>

#include <functional>

#include "fettle/card/audit.h"
#include "fettle/card/audit_content.h"
#include "fettle/card/layout.h"
#include "fettle/card/test_cards.h"

namespace fettle::card {

using test::codes;
using test::Content;
using test::find;
using test::Package;

class AuditTest : public ::testing::Test {
protected:
    Package p = test::package();

    Audit run(BlockDevice& d, bool with_release = false) {
        AuditRequest r;
        r.family = &p.family;
        r.release = with_release ? &p.release : nullptr;
        auto a = audit(d, r);
        if (!a) throw std::runtime_error(a.error().message());
        return *a;
    }
    Audit of(const std::vector<Content>& contents, bool with_release = false) {
        auto card = test::lay_in_memory(contents, *p.family.card);
        return run(card.device, with_release);
    }
    static std::vector<Content> below(const std::string& prefix, std::vector<Content> c) {
        for (auto& x : c) x.first = prefix + x.first;
        return c;
    }
};

}  // namespace fettle::card
