//! MAC commands against the table of three libraries and the status tables of the standard.

use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::mac::{self, CommandError, DownlinkCommand, UplinkCommand};

/// Identifier, size up and size down (identifier included) and whether 1.1 alone has it.
fn table() -> Vec<(u8, Option<usize>, Option<usize>, bool)> {
    let mut table = csv::Reader::from_reader(include_bytes!("data/mac_commands.csv").as_slice());
    let rows = table.records().map(|row| {
        let row = row.expect("the table is CSV");
        let cid = u8::from_str_radix(row[0].trim_start_matches("0x"), 16).expect("an identifier");
        (cid, row[2].parse().ok(), row[4].parse().ok(), row[5].starts_with("1.1"))
    });
    rows.collect()
}

/// For each way a command can be cut: how many bytes of it are missing, or that it is whole.
fn check_size<C: std::fmt::Debug>(
    cid: u8,
    size: usize,
    commands: impl Fn(&[u8]) -> Vec<Result<C, CommandError>>,
) {
    let bytes: Vec<u8> = std::iter::once(cid).chain(std::iter::repeat(0)).take(size).collect();
    for len in 1..size {
        let found = commands(&bytes[..len]);
        let truncated = CommandError::Truncated { cid, missing: size - len };
        assert!(
            matches!(&found[..], [Err(error)] if *error == truncated),
            "{cid:#04x} cut to {len}: {found:?}"
        );
    }
    let twice = [&bytes[..], &bytes[..]].concat();
    let found = commands(&twice);
    assert!(matches!(&found[..], [Ok(_), Ok(_)]), "{cid:#04x} twice: {found:?}");
}

#[test]
fn every_1_0_command_has_the_size_three_libraries_agree_on() {
    let mut checked = 0;
    for (cid, up, down, _) in table().into_iter().filter(|&(.., only_in_1_1)| !only_in_1_1) {
        if let Some(size) = up {
            check_size(cid, size, |bytes| mac::uplink_commands(bytes).collect());
        }
        if let Some(size) = down {
            check_size(cid, size, |bytes| mac::downlink_commands(bytes).collect());
        }
        checked += 1;
    }
    assert_eq!(checked, 14, "LoRaWAN 1.0.x has ten commands, and four of class B");
}

#[test]
fn commands_of_1_1_and_unknown_ones_end_the_sequence_with_an_error() {
    // TS001-1.0.4, clause 5: the first unknown command terminates the processing.
    let rows = table();
    for cid in 0..=u8::MAX {
        let expected = match rows.iter().find(|row| row.0 == cid) {
            None => CommandError::Unknown { cid },
            Some(&(.., true)) => CommandError::Lorawan11 { cid },
            Some(_) => continue,
        };
        let bytes = [0x0d, cid, 0x0d, 0x0d];
        let found: Vec<_> = mac::uplink_commands(&bytes).collect();
        assert_eq!(found, [Ok(UplinkCommand::DeviceTimeReq), Err(expected)]);
        let found: Vec<_> = mac::downlink_commands(&[0x06, cid, 0x06]).collect();
        assert_eq!(found, [Ok(DownlinkCommand::DevStatusReq), Err(expected)]);
    }
}

#[test]
fn status_bits_of_uplink_commands_are_those_of_the_standard() {
    // TS001-1.0.4: LinkADRAns, RXParamSetupAns (table 30), DevStatusAns (tables 31, 32), NewChannelAns, DlChannelAns,
    // PingSlotInfoReq (table 63), PingSlotChannelAns (table 71). NewChannelAns and DlChannelAns also: 1.0.3 clause 5.6.
    let bytes = [
        0x03, 0b100, 0x03, 0b010, 0x03, 0b001, 0x05, 0b100, 0x05, 0b010, 0x05, 0b001, 0x06, 254, 0x3f, 0x07,
        0b10, 0x0a, 0b01, 0x10, 0x05, 0x11, 0b10, 0x13, 0b01,
    ];
    let adr = |power_ok, data_rate_ok, channel_mask_ok| UplinkCommand::LinkAdrAns {
        power_ok,
        data_rate_ok,
        channel_mask_ok,
    };
    let rx = |rx1_data_rate_offset_ok, rx2_data_rate_ok, frequency_ok| UplinkCommand::RxParamSetupAns {
        rx1_data_rate_offset_ok,
        rx2_data_rate_ok,
        frequency_ok,
    };
    let expected = [
        adr(true, false, false),
        adr(false, true, false),
        adr(false, false, true),
        rx(true, false, false),
        rx(false, true, false),
        rx(false, false, true),
        UplinkCommand::DevStatusAns { battery: 254, snr_db: -1 },
        UplinkCommand::NewChannelAns { data_rate_range_ok: true, frequency_ok: false },
        UplinkCommand::DlChannelAns { uplink_frequency_exists: false, frequency_ok: true },
        UplinkCommand::PingSlotInfoReq { periodicity: Bits::new(5).expect("three bits") },
        UplinkCommand::PingSlotChannelAns { data_rate_ok: true, frequency_ok: false },
        UplinkCommand::BeaconFreqAns { frequency_ok: true },
    ];
    assert_eq!(mac::uplink_commands(&bytes).collect::<Vec<_>>(), expected.map(Ok));
    let mut encoded = Vec::new();
    for command in expected {
        command.encode(&mut encoded);
    }
    assert_eq!(encoded, bytes);
}

#[test]
fn device_margin_is_a_signed_number_of_six_bits() {
    // TS001-1.0.4, clause 5.5: minimum -32, maximum 31.
    for (octet, snr_db) in [(0x00, 0), (0x1f, 31), (0x20, -32), (0x3f, -1), (0xff, -1)] {
        let found = mac::uplink_commands(&[0x06, 0, octet]).next();
        assert_eq!(found, Some(Ok(UplinkCommand::DevStatusAns { battery: 0, snr_db })), "{octet:#04x}");
    }
    let mut bytes = Vec::new();
    UplinkCommand::DevStatusAns { battery: 0, snr_db: 100 }.encode(&mut bytes);
    UplinkCommand::DevStatusAns { battery: 0, snr_db: -100 }.encode(&mut bytes);
    assert_eq!(bytes, [0x06, 0, 0x1f, 0x06, 0, 0x20], "beyond the range it saturates");
}

#[test]
fn fields_of_downlink_commands_are_those_of_the_standard() {
    // Layouts: payload notes of data/mac_commands.csv; TS001-1.0.4 clauses 5.1 to 5.6, 12.2 and 12.3. The LinkCheckAns
    // is the plaintext of vector fopts11_nfcntdown. 868.1 MHz = 8,681,000 x 100 Hz = 0x847628.
    let bytes = [
        0x02, 0x07, 0x01, 0x03, 0x52, 0x07, 0x80, 0x61, 0x04, 0x0f, 0x05, 0x23, 0x28, 0x76, 0x84, 0x06, 0x07,
        0x03, 0x28, 0x76, 0x84, 0x50, 0x08, 0x05, 0x09, 0x2d, 0x0a, 0x04, 0x28, 0x76, 0x84, 0x0d, 0x01, 0x00,
        0x00, 0x00, 0x80, 0x10, 0x11, 0x28, 0x76, 0x84, 0x03, 0x13, 0x28, 0x76, 0x84,
    ];
    let four = |value| Bits::<4>::new(value).expect("four bits");
    let three = |value| Bits::<3>::new(value).expect("three bits");
    let frequency = CarrierFrequency::from_hz(868_100_000).expect("whole steps");
    let expected = [
        DownlinkCommand::LinkCheckAns { margin_db: 7, gateways: 1 },
        DownlinkCommand::LinkAdrReq {
            data_rate: four(5),
            tx_power: four(2),
            channel_mask: 0x8007,
            channel_mask_control: three(6),
            transmissions: four(1),
        },
        DownlinkCommand::DutyCycleReq { exponent: four(15) },
        DownlinkCommand::RxParamSetupReq {
            dl_settings: DlSettings { rx1_data_rate_offset: three(2), rx2_data_rate: four(3) },
            frequency,
        },
        DownlinkCommand::DevStatusReq,
        DownlinkCommand::NewChannelReq {
            channel: 3,
            frequency,
            max_data_rate: four(5),
            min_data_rate: four(0),
        },
        DownlinkCommand::RxTimingSetupReq { delay: four(5) },
        DownlinkCommand::TxParamSetupReq { downlink_dwell: true, uplink_dwell: false, max_eirp: four(13) },
        DownlinkCommand::DlChannelReq { channel: 4, frequency },
        DownlinkCommand::DeviceTimeAns { gps_seconds: 1, fraction: 128 },
        DownlinkCommand::PingSlotInfoAns,
        DownlinkCommand::PingSlotChannelReq { frequency, data_rate: four(3) },
        DownlinkCommand::BeaconFreqReq { frequency },
    ];
    assert_eq!(mac::downlink_commands(&bytes).collect::<Vec<_>>(), expected.map(Ok));
    let mut encoded = Vec::new();
    for command in expected {
        command.encode(&mut encoded);
    }
    assert_eq!(encoded, bytes);
}

#[test]
fn reserved_bits_are_ignored() {
    // Bit 7 of DLSettings and of the redundancy octet, bits 7:4 of MaxDCycle and Del.
    let read = |bytes: &[u8]| mac::downlink_commands(bytes).collect::<Vec<_>>();
    assert_eq!(read(&[0x04, 0xf3]), read(&[0x04, 0x03]));
    assert_eq!(read(&[0x08, 0xf3]), read(&[0x08, 0x03]));
    assert_eq!(read(&[0x05, 0x80, 0, 0, 0]), read(&[0x05, 0, 0, 0, 0]));
    assert_eq!(read(&[0x03, 0, 0, 0, 0x81]), read(&[0x03, 0, 0, 0, 0x01]));
}
