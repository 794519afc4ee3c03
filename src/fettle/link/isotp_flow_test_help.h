// Messages and configurations for the tests of ISO 15765-2.
#pragma once

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/base/text.h"
#include "fettle/link/isotp.h"
#include "isotp_test_help.h"
#include "reference_test_help.h"

namespace fettle::link::isotp {

using link::testing::bytes_of;
using link::testing::table;
using std::chrono::milliseconds;
using testing::Bus;
using testing::got;

inline Bytes counted(std::size_t n) {
    Bytes b(n);
    for (std::size_t i = 0; i < n; ++i) b[i] = static_cast<Byte>(i * 7 + i / 256);
    return b;
}
inline Config unpadded() {
    Config c;
    c.pad.reset();
    return c;
}
// Frames that carry data, in order; flow controls left out.
inline std::vector<Bytes> data_frames(const Bus& bus, std::size_t at) {
    std::vector<Bytes> out;
    for (const Bytes& f : bus.log)
        if (f.at(at) >> 4 != 3) out.push_back(f);
    return out;
}

}  // namespace fettle::link::isotp
