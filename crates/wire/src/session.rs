//! A session: what a join, or a person who typed three values, sets up between device and network.

use std::fmt;

use crate::cipher::{BLOCK_LEN, Cipher};
use crate::identity::{DevAddr, DevNonce, JoinNonce, NetId};
use crate::key::{AppKey, AppSKey, NwkSKey};

/// Address and keys of one session, with the key schedules expanded once for all its frames.
///
/// Wiped when dropped; its debug form shows the address alone.
pub struct Session {
    pub(crate) dev_addr: DevAddr,
    pub(crate) network: Cipher,
    pub(crate) application: Cipher,
}

impl Session {
    /// The session of `dev_addr` under these keys.
    pub fn new(dev_addr: DevAddr, nwk_s_key: &NwkSKey, app_s_key: &AppSKey) -> Self {
        Self {
            dev_addr,
            network: Cipher::new(nwk_s_key.expose()),
            application: Cipher::new(app_s_key.expose()),
        }
    }

    /// Address of the device in this session.
    pub const fn dev_addr(&self) -> DevAddr {
        self.dev_addr
    }
}

impl fmt::Debug for Session {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Session").field("dev_addr", &self.dev_addr).finish_non_exhaustive()
    }
}

/// The two keys that a join yields.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SessionKeys {
    /// Network session key.
    pub nwk_s_key: NwkSKey,
    /// Application session key.
    pub app_s_key: AppSKey,
}

impl SessionKeys {
    /// Keys of the session that this join opens: AES under the root key of `01` (network) or `02` (application),
    /// JoinNonce, `NetID`, DevNonce, zeros.
    ///
    /// # References
    /// TS001-1.0.4, clause 6.2.6 (clause number from memory).
    pub fn derive(app_key: &AppKey, join_nonce: JoinNonce, net_id: NetId, dev_nonce: DevNonce) -> Self {
        let cipher = Cipher::new(app_key.expose());
        let [j0, j1, j2] = join_nonce.to_wire_bytes();
        let [n0, n1, n2] = net_id.to_wire_bytes();
        let [d0, d1] = dev_nonce.to_wire_bytes();
        let block =
            |kind: u8| -> [u8; BLOCK_LEN] { [kind, j0, j1, j2, n0, n1, n2, d0, d1, 0, 0, 0, 0, 0, 0, 0] };
        Self {
            nwk_s_key: NwkSKey::from_bytes(cipher.encrypt_block(block(1))),
            app_s_key: AppSKey::from_bytes(cipher.encrypt_block(block(2))),
        }
    }
}
