//! What the network answers, when, by which gateway and in which window: as a device of the standard reads it.

mod valley;

use design::law::Law;
use design::quantity::{Decibels, Frequency};
use design::serve::Answers;
use logbook::network::{
    Asked, Downlink, Effect, Heard, Message, Network, News, Outcome, Plan, Prevented, Refusal, Verdict, Why,
    Window,
};
use logbook::received::Moment;
use valley::{Device, SECOND, START, clock, copy, gateway, sent, setup};
use wire::field::Bits;
use wire::frame::FrameControl;
use wire::identity::DevAddr;
use wire::mac::{DownlinkCommand, UplinkCommand, downlink_commands};

struct Site {
    network: Network<Box<dyn FnMut() -> DevAddr>>,
    device: Device,
    now: Moment,
}

impl Site {
    fn new(region: &str, answers: Answers, plan: Plan) -> Self {
        let device = Device::new(1);
        let network =
            Network::new(setup(region, answers), [device.member(plan)], Box::new(valley::addresses()) as _);
        Self { network, device, now: START }
    }

    /// One that has joined.
    fn joined(answers: Answers, plan: Plan) -> Self {
        let mut site = Self::new("EU868", answers, plan);
        let request = site.device.request();
        let accepts = site.exchange(&request);
        assert!(site.device.joins(&accepts[0].bytes));
        site
    }

    /// A frame heard by gateway 1 alone, kept, and all that is sent for it.
    fn exchange(&mut self, bytes: &[u8]) -> Vec<Downlink> {
        let effects = self.effects(bytes);
        sent(&effects).into_iter().cloned().collect()
    }

    /// All that comes of a frame; what became of earlier answers is left out, as no gateway says it here.
    fn effects(&mut self, bytes: &[u8]) -> Vec<Effect> {
        self.now += 60 * SECOND;
        let heard = self.network.hear(&copy(bytes, 1, self.now, 5.0));
        self.network.kept(heard.frame);
        let effects = self.network.tick(self.now + 260_000).into_iter();
        effects.filter(|effect| !matches!(effect, Effect::Settled(..))).collect()
    }

    fn hear(&mut self, bytes: &[u8], gateway: u8, after: Moment, snr_db: f64) -> Heard {
        self.network.hear(&copy(bytes, gateway, self.now + after, snr_db))
    }

    /// An uplink with these commands, and those of the answer, if the device got one.
    fn says(&mut self, commands: &[UplinkCommand]) -> Option<Vec<DownlinkCommand>> {
        let bytes = self.device.sends(false, FrameControl::default().with_adr(), commands);
        let downlinks = self.exchange(&bytes);
        let told = self.device.hears(&downlinks.first()?.bytes).expect("it is for the device");
        Some(downlink_commands(&told.commands).map(|one| one.expect("sound")).collect())
    }
}

/// Nothing is asked by the network itself: battery and reception were told just now.
fn quiet(site: &mut Site) {
    site.says(&[UplinkCommand::DevStatusAns { battery: 200, snr_db: 5 }]);
}

fn adaptive() -> Plan {
    Plan {
        adaptation_margin: Some(Decibels::from_decibels(10.0)),
        allowed_rates: (0..=5).collect(),
        ..Plan::default()
    }
}

#[test]
fn a_join_is_answered_once_by_the_gateway_that_heard_it_best_after_it_is_kept() {
    let mut site = Site::new("EU868", Answers::All, Plan::default());
    let request = site.device.request();
    let heard = site.hear(&request, 1, 0, -10.0);
    assert_eq!(heard.verdict, Verdict::Join);
    assert_eq!(site.hear(&request, 2, 90_000, 3.0).verdict, Verdict::Copy);
    assert_eq!(site.hear(&request, 3, 200_000, -4.0).verdict, Verdict::Copy);
    assert_eq!(site.network.tick(START + 3 * SECOND), [], "nothing leaves before the row is kept");
    site.network.kept(heard.frame);
    assert_eq!(site.network.next_tick(), Some(START + 250_000));
    let effects = site.network.tick(START + 3 * SECOND);
    let [accept] = sent(&effects)[..] else { panic!("{effects:?}") };
    // TS001-1.0.4: JOIN_ACCEPT_DELAY1 is 5 s, from the end of the request as that gateway heard it.
    assert_eq!((accept.gateway, accept.window, accept.why), (gateway(2), Window::First, Why::Join));
    assert_eq!(accept.clock_us, clock(2, START + 90_000 + 5 * SECOND));
    assert_eq!(
        (accept.frequency_hz, accept.rate_name.as_str(), accept.fcnt),
        (868_300_000, "SF12BW125", None)
    );
    // 14 dBm ERP is 16.15 dBm EIRP, rounded down.
    assert_eq!(accept.eirp_dbm, 16);
    assert!(site.device.joins(&accept.bytes));
    assert_eq!(site.network.tick(START + 4 * SECOND), [], "once");
}

#[test]
fn a_first_window_that_can_not_be_made_leaves_the_second() {
    let mut site = Site::new("EU868", Answers::All, Plan::default());
    let request = site.device.request();
    let heard = site.hear(&request, 1, 0, 0.0);
    site.network.kept(heard.frame);
    let effects = site.network.tick(START + 5 * SECOND);
    let [accept] = sent(&effects)[..] else { panic!("{effects:?}") };
    assert_eq!((accept.window, accept.frequency_hz), (Window::Second, 869_525_000));
    assert_eq!(accept.clock_us, clock(1, START + 6 * SECOND));
    // 27 dBm ERP are allowed there, and the gateway can 27 dBm EIRP.
    assert_eq!(accept.eirp_dbm, 27);

    let request = site.device.request();
    let heard = site.hear(&request, 1, 60 * SECOND, 0.0);
    site.network.kept(heard.frame);
    let effects = site.network.tick(START + 67 * SECOND);
    assert!(
        matches!(
            effects[..],
            [Effect::Settled(..), Effect::NotSent { why: Why::Join, prevented: Prevented::TooLate, .. }]
        ),
        "{effects:?}"
    );
}

#[test]
fn a_gateway_that_is_too_late_is_asked_for_the_second_window_with_the_same_frame() {
    for word in ["TOO_LATE", "COLLISION_PACKET"] {
        let mut site = Site::new("EU868", Answers::All, Plan::default());
        let request = site.device.request();
        let first = site.exchange(&request).remove(0);
        let now = site.now + 260_000;
        let effects = site.network.told(first.number, Some(word), now);
        let [Effect::SendAgain(second)] = &effects[..] else { panic!("{effects:?}") };
        assert_eq!((second.number, &second.bytes), (first.number, &first.bytes));
        assert_eq!((second.window, second.leaves_at - first.leaves_at), (Window::Second, SECOND));
        let settled = site.network.told(second.number, Some(word), now);
        assert_eq!(settled, [Effect::Settled(first.number, Outcome::Refused(word.to_owned()))]);
    }
    let mut site = Site::new("EU868", Answers::All, Plan::default());
    let request = site.device.request();
    let first = site.exchange(&request).remove(0);
    let refused = site.network.told(first.number, Some("TX_FREQ"), site.now + 260_000);
    assert_eq!(refused, [Effect::Settled(first.number, Outcome::Refused("TX_FREQ".to_owned()))]);
    assert_eq!(site.network.told(first.number, None, site.now), [], "its fate is known");
    let request = site.device.request();
    let second = site.exchange(&request).remove(0);
    let unknown = site.network.tick(site.now + 11 * SECOND);
    assert_eq!(unknown, [Effect::Settled(second.number, Outcome::Unknown)]);
}

#[test]
fn a_confirmed_uplink_is_acknowledged_and_so_is_its_repetition() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    let uplink = site.device.sends(true, FrameControl::default(), &[]);
    let first = site.exchange(&uplink);
    assert_eq!((first.len(), first[0].why), (1, Why::Acknowledgement));
    assert!(site.device.hears(&first[0].bytes).expect("for it").acknowledges);
    // Another gateway's copy that came late is no repetition.
    assert_eq!(site.hear(&uplink, 2, 700_000, 0.0).verdict, Verdict::Copy);
    assert_eq!(site.network.tick(site.now + 2 * SECOND), []);
    let again = site.hear(&uplink, 1, 3 * SECOND, 0.0);
    assert_eq!(again.verdict, Verdict::Copy);
    assert_eq!(site.network.tick(site.now + 3 * SECOND + 300_000), [], "its row is not kept yet");
    site.network.kept(again.frame);
    let effects = site.network.tick(site.now + 3 * SECOND + 300_000);
    let [second] = sent(&effects)[..] else { panic!("{effects:?}") };
    assert_eq!(second.why, Why::RepeatedAcknowledgement);
    let told = site.device.hears(&second.bytes).expect("a counter above the first");
    assert!(told.acknowledges);
    // After a newer uplink the older one is only a copy.
    site.says(&[]);
    let stale = site.hear(&uplink, 1, 3 * SECOND, 0.0);
    site.network.kept(stale.frame);
    assert_eq!(sent(&site.network.tick(site.now + 4 * SECOND)).len(), 0);
}

#[test]
fn an_uplink_that_wants_nothing_gets_nothing() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    assert_eq!(site.says(&[]), None);
}

/// TS001-1.0.4, clauses 5.1 and 5.9: margin above the floor of SF12 (-20 dB), gateways; GPS time has counted the leap
/// seconds since 1980 and began 315,964,800 s after 1970.
#[test]
fn link_and_time_are_answered_as_they_were_heard() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    site.now += 60 * SECOND;
    let uplink = site.device.says(&[UplinkCommand::LinkCheckReq, UplinkCommand::DeviceTimeReq]);
    let heard = site.hear(&uplink, 1, 500_000, -12.5);
    site.hear(&uplink, 2, 550_000, -3.5);
    site.network.kept(heard.frame);
    let effects = site.network.tick(site.now + 760_000);
    let told = site.device.hears(&sent(&effects)[0].bytes).expect("for it");
    let commands: Vec<DownlinkCommand> =
        downlink_commands(&told.commands).map(|one| one.expect("sound")).collect();
    let gps_seconds = u32::try_from(site.now / SECOND - 315_964_800 + 18).expect("it fits");
    assert_eq!(
        commands,
        [
            DownlinkCommand::DeviceTimeAns { gps_seconds, fraction: 128 },
            DownlinkCommand::LinkCheckAns { margin_db: 16, gateways: 2 },
        ]
    );
}

#[test]
fn a_gateway_with_satellite_time_tells_it() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    let uplink = site.device.says(&[UplinkCommand::DeviceTimeReq]);
    let mut received = copy(&uplink, 1, site.now + 60 * SECOND, 0.0);
    received.radio.gps_us = Some(1_400_000_000_250_000);
    let heard = site.network.hear(&received);
    site.network.kept(heard.frame);
    let effects = site.network.tick(site.now + 61 * SECOND - 700_000);
    let told = site.device.hears(&sent(&effects)[0].bytes).expect("for it");
    let time = downlink_commands(&told.commands).next().expect("one").expect("sound");
    assert_eq!(time, DownlinkCommand::DeviceTimeAns { gps_seconds: 1_400_000_000, fraction: 64 });
}

/// The margin at DR5 (SF7, floor -7.5 dB) of a signal at +5 dB is 12.5 dB, above the 10 dB to be kept. The plan listens to
/// eight uplinks, so eight more after the last question.
#[test]
fn the_rate_is_adapted_by_the_rule_of_the_plan_after_eight_uplinks() {
    let mut site = Site::joined(Answers::All, adaptive());
    quiet(&mut site);
    let mut asked = Vec::new();
    for uplink in 2..=15 {
        if let Some(commands) = site.says(&[]) {
            asked.push((uplink, commands));
        }
    }
    let request = |commands: &[DownlinkCommand]| match commands {
        [DownlinkCommand::LinkAdrReq { data_rate, tx_power, .. }] => (data_rate.get(), tx_power.get()),
        other => panic!("{other:?}"),
    };
    let asked: Vec<(u32, (u8, u8))> = asked.iter().map(|(at, commands)| (*at, request(commands))).collect();
    assert_eq!(asked, [(8, (5, 15)), (9, (5, 15)), (10, (5, 15))], "three times, power as it is");
}

#[test]
fn a_rate_that_is_refused_is_not_asked_for_again_in_this_session() {
    let mut site = Site::joined(Answers::All, adaptive());
    quiet(&mut site);
    (2..8).for_each(|_| assert_eq!(site.says(&[]), None));
    assert!(site.says(&[]).is_some());
    let refusal = UplinkCommand::LinkAdrAns { power_ok: true, data_rate_ok: false, channel_mask_ok: true };
    let uplink = site.device.sends(false, FrameControl::default().with_adr(), &[refusal]);
    site.now += 60 * SECOND;
    let heard = site.hear(&uplink, 1, 0, 5.0);
    assert_eq!(heard.news, [News::Refused(Asked::Rate(5))]);
    (0..60).for_each(|_| assert_eq!(site.says(&[]), None));
}

#[test]
fn a_device_with_a_fixed_rate_or_without_the_flag_is_never_asked() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    (0..50).for_each(|_| assert_eq!(site.says(&[]), None));
    let mut site = Site::joined(Answers::All, adaptive());
    quiet(&mut site);
    for _ in 0..50 {
        let uplink = site.device.says(&[]);
        assert_eq!(site.exchange(&uplink), []);
    }
}

#[test]
fn a_device_that_asks_for_any_answer_gets_one_even_where_little_is_answered() {
    let asks = FrameControl::default().with_adr().with_adr_ack_request();
    for answers in [Answers::All, Answers::Lifeline] {
        let mut site = Site::joined(answers, Plan::default());
        quiet(&mut site);
        let uplink = site.device.sends(false, asks, &[]);
        let answer = site.exchange(&uplink);
        assert_eq!((answer.len(), answer[0].why), (1, Why::Lifeline));
        assert!(site.device.hears(&answer[0].bytes).is_some());
    }
    let mut site = Site::joined(Answers::Lifeline, adaptive());
    assert_eq!(site.says(&[UplinkCommand::LinkCheckReq]), None);
    let uplink = site.device.sends(true, FrameControl::default(), &[]);
    assert_eq!(site.exchange(&uplink).len(), 1, "an acknowledgement is part of it");
    let mut site = Site::new("EU868", Answers::Never, Plan::default());
    let request = site.device.request();
    assert_eq!(site.exchange(&request), [], "another network answers");
}

#[test]
fn a_sticky_answer_is_cleared_by_any_downlink() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    assert_eq!(site.says(&[UplinkCommand::RxTimingSetupAns]), Some(Vec::new()));
}

#[test]
fn battery_and_reception_are_asked_for_once_a_week() {
    let mut site = Site::joined(Answers::All, Plan::default());
    assert_eq!(site.says(&[]), Some(vec![DownlinkCommand::DevStatusReq]));
    let uplink = site.device.says(&[UplinkCommand::DevStatusAns { battery: 180, snr_db: -3 }]);
    site.now += 60 * SECOND;
    let heard = site.hear(&uplink, 1, 0, 0.0);
    let told = [News::Took(Asked::Status), News::Status { battery: 180, snr_db: -3 }];
    assert_eq!(heard.news, told);
    site.now += 6 * 24 * 3600 * SECOND;
    assert_eq!(site.says(&[]), None);
    site.now += 24 * 3600 * SECOND;
    assert_eq!(site.says(&[]), Some(vec![DownlinkCommand::DevStatusReq]));
}

#[test]
fn a_message_is_repeated_until_it_is_acknowledged_and_at_most_three_times() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    let dev_eui = site.device.dev_eui;
    let message = Message { number: 41, port: 2, payload: vec![0, 120] };
    site.network.tell(dev_eui, message.clone()).expect("it is known");
    let uplink = site.device.says(&[]);
    let downlink = site.exchange(&uplink).remove(0);
    assert_eq!((downlink.why, downlink.message), (Why::Message, Some(41)));
    let told = site.device.hears(&downlink.bytes).expect("for it");
    assert_eq!((told.confirmed, told.application), (true, Some((2, vec![0, 120]))));
    let uplink = site.device.sends(false, FrameControl::default().with_ack(), &[]);
    site.now += 60 * SECOND;
    assert_eq!(site.hear(&uplink, 1, 0, 0.0).news, [News::Delivered { message: 41 }]);

    site.network.tell(dev_eui, message).expect("it is known");
    let mut counters = Vec::new();
    for _ in 0..3 {
        let uplink = site.device.says(&[]);
        let downlink = site.exchange(&uplink).remove(0);
        counters.push(downlink.fcnt.expect("a data frame has one"));
    }
    assert!(
        counters.windows(2).all(|two| two[1] == two[0] + 1),
        "a counter of its own each time: {counters:?}"
    );
    let uplink = site.device.says(&[]);
    let effects = site.effects(&uplink);
    assert_eq!(effects, [Effect::News(dev_eui, News::NotDelivered { message: 41 })]);
}

#[test]
fn a_message_that_no_window_carries_is_said_to_be_too_long() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    // At DR0 51 bytes fit (59 of MAC payload, 8 of overhead: RP002-1.0.5, table 14).
    for (length, fits) in [(51, true), (52, false)] {
        let message = Message { number: length as u64, port: 2, payload: vec![0; length] };
        site.network.tell(site.device.dev_eui, message).expect("it is known");
        let uplink = site.device.sends(false, FrameControl::default().with_ack(), &[]);
        let effects = site.effects(&uplink);
        if fits {
            assert_eq!(sent(&effects).len(), 1, "{effects:?}");
            continue;
        }
        assert!(
            matches!(effects.last(), Some(Effect::NotSent { prevented: Prevented::TooLong, .. })),
            "{effects:?}"
        );
        for _ in 0..2 {
            let uplink = site.device.says(&[]);
            assert_eq!(site.effects(&uplink).len(), 1, "at most three times");
        }
        let uplink = site.device.says(&[]);
        assert!(matches!(site.effects(&uplink)[..], [Effect::News(_, News::NotDelivered { message: 52 })]));
    }
}

/// 1 % of an hour is 36 s; at SF12 an acknowledgement of 12 bytes takes 991.232 ms (`LoRa` without checksum, 8 symbols of
/// preamble), and such answers leave 15 % of the hour to joins and lifelines.
#[test]
fn the_hours_share_of_the_law_is_kept_and_what_it_refuses_is_said() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    let band = Law::of_region("EU868").expect("known");
    let band = band.bands_at(Frequency::from_megahertz(868.3)).next().expect("a band").duty_cycle;
    assert!((band.expect("limited").fraction() - 0.01).abs() < 1e-12);
    let (mut first, mut second, mut refused) = (0.0, 0.0, 0);
    let began = site.now;
    while site.now < began + 3400 * SECOND {
        let uplink = site.device.sends(true, FrameControl::default(), &[]);
        site.now += SECOND * 6;
        let heard = site.hear(&uplink, 1, 0, 5.0);
        site.network.kept(heard.frame);
        for effect in site.network.tick(site.now + 260_000) {
            match effect {
                Effect::Send(downlink) if downlink.window == Window::First => {
                    first += downlink.airtime_us as f64;
                }
                Effect::Send(downlink) => second += downlink.airtime_us as f64,
                Effect::NotSent { prevented: Prevented::NoBudget, why: Why::Acknowledgement, .. } => {
                    refused += 1;
                }
                Effect::Settled(..) => {}
                other => panic!("{other:?}"),
            }
        }
    }
    assert!((28e6..=30.6e6).contains(&first), "{first}");
    assert!((303e6..=306e6).contains(&second), "{second}");
    assert!(refused > 100, "{refused}");
    // A join and a lifeline still find room.
    let uplink = site.device.sends(false, FrameControl::default().with_adr_ack_request(), &[]);
    assert_eq!(site.exchange(&uplink).len(), 1);
    let request = site.device.request();
    assert_eq!(site.exchange(&request)[0].window, Window::First);
}

#[test]
fn late_frames_and_refused_ones_are_never_answered() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    let early = site.device.sends(true, FrameControl::default(), &[UplinkCommand::LinkCheckReq]);
    let later = site.device.says(&[]);
    site.exchange(&later);
    let effects = site.effects(&early);
    assert_eq!(sent(&effects).len(), 0);
    let mut forged = site.device.sends(true, FrameControl::default(), &[]);
    *forged.last_mut().expect("it has bytes") ^= 1;
    assert_eq!(site.hear(&forged, 1, SECOND, 0.0).verdict, Verdict::Refused(Refusal::Mic));
    assert_eq!(site.effects(&forged), []);
}

#[test]
fn a_gateway_that_restarts_is_not_asked_by_its_old_clock() {
    let mut site = Site::joined(Answers::All, Plan::default());
    quiet(&mut site);
    site.now += 60 * SECOND;
    let uplink = site.device.sends(true, FrameControl::default(), &[]);
    let heard = site.hear(&uplink, 1, 0, 5.0);
    site.hear(&uplink, 2, 10_000, -5.0);
    let mut other = copy(&[0xe0; 12], 1, site.now + 100_000, 0.0);
    other.radio.clock_us = Some(70_000);
    site.network.hear(&other);
    // One alone may only have come late.
    (other.arrived_at, other.radio.clock_us) = (site.now + 150_000, Some(120_000));
    site.network.hear(&other);
    site.network.kept(heard.frame);
    let effects = site.network.tick(site.now + 260_000);
    assert_eq!(sent(&effects)[0].gateway, gateway(2));
}

#[test]
fn a_new_delay_of_the_first_window_is_settled_before_it_is_used() {
    let device = Device::new(1);
    let mut setup = setup("EU868", Answers::All);
    setup.rx1_delay_s = 3;
    let mut network = Network::new(setup, [device.member(Plan::default())], valley::addresses());
    let mut site = Site::joined(Answers::All, Plan::default());
    let session = site.device.session.take().expect("it has joined");
    // The log says that this session began with a delay of 1 s.
    let mut device = site.device;
    device.session = Some(session);
    let mut member = device.member(Plan::default());
    (member.dev_nonce, member.join_nonce) = (Some(0), 1);
    let dev_addr = DevAddr::from_display_bytes([1, 0, 0, 1]);
    (member.dev_addr, member.last_status) = (Some(dev_addr), Some(START));
    network.restore(member, vec![kept_session(dev_addr)]);
    let mut exchange = |device: &mut Device, at: Moment, commands: &[UplinkCommand]| {
        let heard = network.hear(&copy(&device.says(commands), 1, at, 5.0));
        network.kept(heard.frame);
        let effects = network.tick(at + 260_000);
        sent(&effects).first().map(|one| ((*one).clone(), device.hears(&one.bytes).expect("for it").commands))
    };
    let (downlink, commands) = exchange(&mut device, START + 60 * SECOND, &[]).expect("it is asked");
    assert_eq!(downlink.leaves_at, START + 61 * SECOND);
    let asked = downlink_commands(&commands).next().expect("one").expect("sound");
    assert_eq!(asked, DownlinkCommand::RxTimingSetupReq { delay: Bits::new(3).expect("4 bits") });
    let answer = [UplinkCommand::RxTimingSetupAns];
    let (downlink, _) =
        exchange(&mut device, START + 120 * SECOND, &answer).expect("a sticky answer gets one");
    assert_eq!(downlink.leaves_at, START + 123 * SECOND);
    assert_eq!(downlink.fcnt, Some(6), "above what the log has seen leave");
}

/// TS001-1.0.4, clause 4.3.1.5: a counter is never used twice in a session, also not after a restart of the network.
#[test]
fn a_counter_that_was_used_is_refused_with_other_bytes_whether_it_was_new_or_late() {
    let mut site = Site::joined(Answers::All, Plan::default());
    let frames: Vec<Vec<u8>> = (0..4).map(|_| site.device.says(&[])).collect();
    site.device.up = 0;
    let others: Vec<Vec<u8>> = (0..4).map(|_| site.device.says(&[UplinkCommand::LinkCheckReq])).collect();
    for (place, verdict) in [(0, Verdict::New), (3, Verdict::New), (1, Verdict::Late)] {
        site.now += SECOND;
        assert_eq!(site.hear(&frames[place], 1, 0, 0.0).verdict, verdict);
    }
    let dev_addr = DevAddr::from_display_bytes([1, 0, 0, 1]);
    let mut member = site.device.member(Plan::default());
    (member.dev_nonce, member.join_nonce, member.dev_addr) = (Some(0), 1, Some(dev_addr));
    let accepted = [0, 1, 3].map(|fcnt: u32| (fcnt, frames[fcnt as usize].clone())).to_vec();
    let kept = logbook::network::KeptSession { last_up: Some(3), accepted, ..kept_session(dev_addr) };
    for restarted in [false, true] {
        if restarted {
            site.network.restore(member.clone(), vec![kept.clone()]);
        }
        for place in [0_u32, 1, 3] {
            let refused = site.hear(&others[place as usize], 1, SECOND, 0.0).verdict;
            let used = Refusal::Counter { found: place, last: 3, used: true };
            assert_eq!(refused, Verdict::Refused(used), "restarted: {restarted}");
            assert_eq!(site.hear(&frames[place as usize], 1, SECOND, 0.0).verdict, Verdict::Copy);
        }
    }
    assert_eq!(site.hear(&frames[2], 1, SECOND, 0.0).verdict, Verdict::Late);
}

fn kept_session(dev_addr: DevAddr) -> logbook::network::KeptSession {
    logbook::network::KeptSession {
        join_nonce: 1,
        dev_nonce: 0,
        typed: None,
        dev_addr,
        state: logbook::network::SessionState::Open,
        last_up: None,
        last_down: Some(4),
        last_heard: START,
        rx1_delay_s: 1,
        accepted: Vec::new(),
        request: None,
    }
}

/// RP002-1.0.5, section 3.8: AU915 takes the limit of 400 ms by command; index 13 is 30 dBm.
#[test]
fn the_dwell_limit_is_told_where_the_plan_takes_it_by_command() {
    let mut site = Site::new("AU915", Answers::All, Plan { dwell_limit: true, ..Plan::default() });
    let heard = |site: &mut Site, bytes: &[u8]| {
        site.now += 60 * SECOND;
        let mut received = copy(bytes, 1, site.now, 5.0);
        received.radio.frequency_hz = 915_200_000;
        received.radio.data_rate = "SF10BW125".to_owned();
        let heard = site.network.hear(&received);
        site.network.kept(heard.frame);
        sent(&site.network.tick(site.now + 260_000)).into_iter().cloned().collect::<Vec<Downlink>>()
    };
    let request = site.device.request();
    let accept = heard(&mut site, &request).remove(0);
    assert_eq!((accept.frequency_hz, accept.rate_name.as_str()), (923_300_000, "SF10BW500"));
    assert!(site.device.joins(&accept.bytes));
    let uplink = site.device.says(&[]);
    let answer = heard(&mut site, &uplink).remove(0);
    let told = site.device.hears(&answer.bytes).expect("for it");
    let commands: Vec<DownlinkCommand> =
        downlink_commands(&told.commands).map(|one| one.expect("sound")).collect();
    let max_eirp = Bits::new(13).expect("4 bits");
    let limit = DownlinkCommand::TxParamSetupReq { downlink_dwell: false, uplink_dwell: true, max_eirp };
    assert_eq!(commands, [limit, DownlinkCommand::DevStatusReq]);
    let answers = [UplinkCommand::TxParamSetupAns, UplinkCommand::DevStatusAns { battery: 0, snr_db: 0 }];
    let uplink = site.device.says(&answers);
    assert_eq!(heard(&mut site, &uplink), []);
}

/// Larkmoor's frost mast leaves its rate to the network, its spray trailer moves.
#[test]
fn a_design_says_whether_its_rate_may_be_adapted() {
    let plan = |name: &str| {
        let path =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/larkmoor").join(name);
        let text = std::fs::read_to_string(path).expect("the example is there");
        let file = design::file::parse(&text.replace("\ndata_rate = ", "\n# data_rate = "));
        let resolved =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("it resolves");
        Plan::of(&resolved.design)
    };
    let mast = plan("frost-mast.toml");
    assert!(mast.adaptation_margin.is_some() && !mast.allowed_rates.is_empty(), "{mast:?}");
    assert_eq!(plan("spray-trailer.toml").adaptation_margin, None);
}
