"""The menu. A placeholder until the pages are here."""

import streamlit as st

st.write("Roundsheet")
